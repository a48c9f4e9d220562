/* Plays a film of one shift on the drawing of its line. Plain script, no library, nothing fetched.

   The film's code is described where it is written (study/replay.rs of the library). Everything that is shown follows from
   the frame that is looked at: levels and states from the nearest keyframe before it and what happened since, parts under
   way from the times at which they were given on. So seeking and playing show the same. */
"use strict";

const feedproofReplay = (() => {
  /** Scenes between two keyframes. */
  const KEY = 4096;
  /** Dots drawn at once on one connection. */
  const DOTS = 48;
  const STOPS = ["jam_automatic", "jam_waiting", "jam_clearing", "down_waiting", "down_repair"];

  /** The bytes of a text in base 64. */
  function bytesOf(text) {
    const raw = atob(text);
    const bytes = new Uint8Array(raw.length);
    for (let i = 0; i < raw.length; i++) bytes[i] = raw.charCodeAt(i);
    return bytes;
  }

  /** The scenes of a film: three columns of equal length. */
  function decode(bytes, codes) {
    const frames = [], kinds = [], values = [];
    let at = 0, frame = 0;
    const next = () => {
      let value = 0, shift = 1, byte;
      do {
        byte = bytes[at++];
        value += (byte & 127) * shift;
        shift *= 128;
      } while (byte > 127);
      return value;
    };
    while (at < bytes.length) {
      frame += next();
      const code = next();
      frames.push(frame);
      kinds.push(code);
      values.push(codes[code].is === "level" ? next() : 0);
    }
    return { frames: Uint32Array.from(frames), codes: Uint16Array.from(kinds), values: Uint32Array.from(values) };
  }

  /** How things are after so many scenes; made from a film alone, so that it can be tested without a page. */
  class Course {
    constructor(film, bytes) {
      this.film = film;
      this.scenes = decode(bytes, film.codes);
      this.keys = [];
      this.gaveOf = new Map();
      this.spells = [];
      this.rewind();
      this.prepare();
    }

    get length() {
      return this.scenes.frames.length;
    }

    rewind() {
      this.levels = Int32Array.from(this.film.levels);
      this.states = this.film.states.slice();
      this.n = 0;
    }

    /** Keyframes, the times of parts given on by exit, and spells of stops and of nothing to do. */
    prepare() {
      const begun = this.states.slice().fill(0);
      for (let n = 0; n < this.length; n++) {
        if (n % KEY === 0) this.keys.push({ levels: this.levels.slice(), states: this.states.slice() });
        const code = this.film.codes[this.scenes.codes[n]];
        if (code.is === "gave") {
          const key = code.post + ":" + code.exit;
          if (!this.gaveOf.has(key)) this.gaveOf.set(key, []);
          this.gaveOf.get(key).push(this.scenes.frames[n] * 2 + (code.bad ? 1 : 0));
        } else if (code.is === "state") {
          this.endSpell(code.post, begun, this.scenes.frames[n]);
        }
        this.apply(n);
      }
      for (let post = 0; post < this.states.length; post++) this.endSpell(post, begun, this.film.frames);
      this.spells.sort((a, b) => a.from - b.from);
      this.rewind();
    }

    endSpell(post, begun, frame) {
      if (frame > begun[post]) this.spells.push({ post, state: this.states[post], from: begun[post], to: frame });
      begun[post] = frame;
    }

    apply(n) {
      const code = this.film.codes[this.scenes.codes[n]];
      if (code.is === "rise") this.levels[code.place] += 1;
      else if (code.is === "fall") this.levels[code.place] -= 1;
      else if (code.is === "level") this.levels[code.place] = this.scenes.values[n];
      else if (code.is === "state") this.states[code.post] = code.state;
    }

    /** Goes to the end of a frame, forwards or back. */
    seek(frame) {
      const frames = this.scenes.frames;
      const n = after(frames, frame);
      if (n < this.n || n - this.n > KEY) {
        const key = Math.min(Math.floor(n / KEY), this.keys.length - 1);
        if (key >= 0) {
          this.levels.set(this.keys[key].levels);
          this.states = this.keys[key].states.slice();
          this.n = key * KEY;
        }
      }
      for (; this.n < n; this.n++) this.apply(this.n);
    }
  }

  /** How many of the ascending numbers are at most this one. */
  function after(list, value) {
    let low = 0, high = list.length;
    while (low < high) {
      const middle = (low + high) >> 1;
      if (list[middle] <= value) low = middle + 1;
      else high = middle;
    }
    return low;
  }

  function clock(seconds) {
    const two = (n) => String(Math.floor(n)).padStart(2, "0");
    return Math.floor(seconds / 3600) + ":" + two((seconds / 60) % 60) + ":" + two(seconds % 60);
  }

  /** The player of one section of a page. */
  class Player {
    constructor(root) {
      this.root = root;
      const data = JSON.parse(root.querySelector(".replay-data").textContent);
      this.film = data;
      this.course = new Course(data, bytesOf(data.stream));
      this.frame = 0;
      this.speed = 10;
      this.isPlaying = false;
      this.svg = root.querySelector("svg.drawing");
      this.canvas = root.querySelector("canvas.parts");
      this.stations = this.findStations();
      this.ways = this.findWays();
      this.wireControls();
      this.drawTimeline();
      this.show();
      new ResizeObserver(() => { this.fit(); this.show(); this.drawTimeline(); }).observe(this.svg);
    }

    /** Boxes of the drawing with the posts that they stand for, and where their state and content are written. */
    findStations() {
      const found = [];
      for (const box of this.svg.querySelectorAll("g.station[data-station]")) {
        const ix = Number(box.dataset.station);
        const posts = this.film.posts.flatMap((post, n) => (post.station === ix ? [n] : []));
        const places = posts.map((n) => this.film.posts[n].body).filter((place) => place !== null);
        const rect = box.querySelector("rect.box");
        const width = Number(rect.getAttribute("width")), height = Number(rect.getAttribute("height"));
        const make = (name, attributes, parent = box) => {
          const element = document.createElementNS("http://www.w3.org/2000/svg", name);
          for (const key in attributes) element.setAttribute(key, attributes[key]);
          parent.append(element);
          return element;
        };
        // What the drawing says of the mean would be taken for what is there now.
        for (const old of box.querySelectorAll(".rate,.load,.flag")) old.remove();
        const rail = places.length ? make("rect", { class: "rail", x: 8, y: height - 11, width: width - 16, height: 6 }) : null;
        const level = places.length ? make("rect", { class: "done", x: 8, y: height - 11, width: 0, height: 6 }) : null;
        const word = make("text", { class: "now", x: width - 7, y: 16 });
        found.push({ box, posts, places, rail, level, word, width: width - 16, shown: "" });
      }
      return found;
    }

    /** Connections of the drawing as tables of points, with the times at which parts are given on. */
    findWays() {
      const ways = [];
      for (const line of this.svg.querySelectorAll("path.line[data-from]")) {
        const from = Number(line.dataset.from), exits = JSON.parse(line.dataset.exits);
        const lists = this.film.posts.flatMap((post, n) =>
          post.station === from ? exits.map((exit) => this.course.gaveOf.get(n + ":" + exit) || []) : []);
        const times = Uint32Array.from(lists.flat()).sort();
        if (times.length === 0) continue;
        const length = line.getTotalLength(), points = [];
        for (let i = 0; i <= 64; i++) {
          const point = line.getPointAtLength((length * i) / 64);
          points.push(point.x, point.y);
        }
        ways.push({ times, points });
      }
      return ways;
    }

    wireControls() {
      const find = (name) => this.root.querySelector("." + name);
      this.play = find("replay-play");
      this.slider = find("replay-seek");
      this.clock = find("replay-clock");
      this.said = find("replay-said");
      this.slider.max = this.film.frames;
      this.play.addEventListener("click", () => this.toggle());
      this.slider.addEventListener("input", () => this.goTo(Number(this.slider.value)));
      find("replay-speed").addEventListener("change", (event) => { this.speed = Number(event.target.value); });
      this.speed = Number(find("replay-speed").value);
      find("replay-next").addEventListener("click", () => this.jump(1));
      find("replay-back").addEventListener("click", () => this.jump(-1));
      this.root.querySelector(".replay-controls").hidden = false;
    }

    toggle() {
      this.isPlaying = !this.isPlaying;
      if (this.isPlaying && this.frame >= this.film.frames) this.frame = 0;
      this.play.textContent = this.isPlaying ? "Pause" : "Play";
      this.last = undefined;
      if (this.isPlaying) requestAnimationFrame((now) => this.step(now));
    }

    step(now) {
      if (!this.isPlaying) return;
      // A page that was out of sight goes on where it was, not where it would have been.
      const passed = this.last === undefined ? 0 : Math.min(now - this.last, 100);
      this.last = now;
      this.frame += (passed / 1000 / this.film.frame_s) * this.speed;
      if (this.frame >= this.film.frames) {
        this.frame = this.film.frames;
        this.toggle();
      }
      this.show();
      if (this.isPlaying) requestAnimationFrame((then) => this.step(then));
    }

    goTo(frame) {
      this.frame = Math.max(0, Math.min(this.film.frames, frame));
      this.show();
    }

    /** Spells worth a look: stops, and nothing to do at a point of use. */
    marks() {
      const points = new Set(JSON.parse(this.root.dataset.points));
      const isPoint = (post) => points.has(this.film.posts[post].station);
      const isStation = (post) => this.film.posts[post].station !== null;
      return this.course.spells.filter((spell) =>
        (STOPS.includes(spell.state) && isStation(spell.post)) ||
        (spell.state === "starved" && isPoint(spell.post) && (spell.to - spell.from) * this.film.frame_s >= 1));
    }

    jump(way) {
      const marks = this.marks(), now = Math.floor(this.frame);
      const next = way > 0 ? marks.find((spell) => spell.from > now) : marks.findLast((spell) => spell.from < now);
      if (!next) {
        this.said.textContent = way > 0 ? "nothing of note after this" : "nothing of note before this";
        return;
      }
      this.goTo(next.from);
      const seconds = ((next.to - next.from) * this.film.frame_s).toFixed(0);
      this.said.textContent = this.film.posts[next.post].name + ": " + this.wordOf(next.state) + " for " + seconds + " s";
    }

    wordOf(state) {
      return state.replace("_", ", ");
    }

    drawTimeline() {
      const canvas = this.root.querySelector("canvas.replay-marks");
      const scale = window.devicePixelRatio || 1, width = canvas.clientWidth, height = canvas.clientHeight;
      canvas.width = width * scale;
      canvas.height = height * scale;
      const context = canvas.getContext("2d");
      context.scale(scale, scale);
      const style = getComputedStyle(this.root);
      for (const spell of this.marks()) {
        const isStop = spell.state !== "starved";
        context.fillStyle = style.getPropertyValue(isStop ? "--alarm" : "--accent");
        const x = (spell.from / this.film.frames) * width;
        const wide = Math.max(1, ((spell.to - spell.from) / this.film.frames) * width);
        context.fillRect(x, isStop ? 0 : height / 2 + 1, wide, height / 2 - 1);
      }
    }

    fit() {
      const scale = window.devicePixelRatio || 1, box = this.svg.getBoundingClientRect();
      this.canvas.width = box.width * scale;
      this.canvas.height = box.height * scale;
      this.canvas.style.width = box.width + "px";
      this.canvas.style.height = box.height + "px";
      const view = this.svg.viewBox.baseVal;
      this.scale = (box.width * scale) / view.width;
    }

    show() {
      const frame = Math.floor(this.frame);
      this.course.seek(frame);
      for (const station of this.stations) this.showStation(station);
      this.showParts();
      this.slider.value = frame;
      const time = clock(this.film.from_s + frame * this.film.frame_s);
      if (this.clock.textContent !== time) {
        this.clock.textContent = time;
        this.slider.setAttribute("aria-valuetext", time);
      }
    }

    showStation(station) {
      const states = [...new Set(station.posts.map((post) => this.course.states[post]))];
      const levels = station.places.map((place) => this.course.levels[place]);
      const sum = levels.reduce((a, b) => a + b, 0);
      const stop = states.find((state) => STOPS.includes(state));
      const state = stop || states[0] || "";
      const shown = state + "|" + sum;
      if (shown === station.shown) return;
      station.shown = shown;
      station.box.dataset.state = state;
      const isBody = station.places.length > 0;
      station.word.textContent = isBody && !stop ? String(sum) : this.wordOf(state);
      if (station.level) {
        const room = station.places.reduce((room, place) => room + (this.film.places[place].capacity || NaN), 0);
        const share = room > 0 ? Math.min(1, sum / room) : 0;
        station.level.setAttribute("width", (station.width * share).toFixed(1));
      }
    }

    /** Parts under way as dots. The faster the clock, the longer a part is shown on its way, so that it can be seen. */
    showParts() {
      if (this.scale === undefined) this.fit();
      const context = this.canvas.getContext("2d");
      context.setTransform(1, 0, 0, 1, 0, 0);
      context.clearRect(0, 0, this.canvas.width, this.canvas.height);
      context.setTransform(this.scale, 0, 0, this.scale, 0, 0);
      const style = getComputedStyle(this.root);
      const good = style.getPropertyValue("--ink"), bad = style.getPropertyValue("--alarm");
      const span = Math.max(0.6, 0.35 * this.speed) / this.film.frame_s;
      for (const way of this.ways) {
        const first = after(way.times, Math.max(0, this.frame - span) * 2 + 1), end = after(way.times, this.frame * 2 + 1);
        const stride = Math.max(1, Math.ceil((end - first) / DOTS));
        for (let n = first + ((stride - (first % stride)) % stride); n < end; n += stride) {
          const given = Math.floor(way.times[n] / 2), isBad = way.times[n] % 2 === 1;
          const along = Math.min(1, Math.max(0, (this.frame - given) / span)) * 64;
          const i = Math.min(63, Math.floor(along)) * 2, share = along - i / 2;
          const x = way.points[i] + (way.points[i + 2] - way.points[i]) * share;
          const y = way.points[i + 1] + (way.points[i + 3] - way.points[i + 1]) * share;
          context.fillStyle = isBad ? bad : good;
          context.beginPath();
          if (isBad) context.rect(x - 3.4, y - 3.4, 6.8, 6.8);
          else context.arc(x, y, 3.2, 0, 7);
          context.fill();
        }
      }
    }
  }

  return { Course, Player, bytesOf };
})();

if (typeof document !== "undefined") {
  for (const root of document.querySelectorAll(".replay")) root.player = new feedproofReplay.Player(root);
}
if (typeof module !== "undefined") module.exports = feedproofReplay;
