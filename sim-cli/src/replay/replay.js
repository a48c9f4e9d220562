/* Plays a film of one shift on the drawing of its line. Plain script, no library, nothing fetched.

   The film's code is described where it is written (study/replay.rs of the library). Everything that is shown follows from
   the frame that is looked at: levels and states from the nearest keyframe before it and what happened since, parts under
   way from the times at which they were given on, parts on a track or belt from the times at which they came and the order
   in which they leave. So seeking and playing show the same. */
"use strict";

const feedproofReplay = (() => {
  /** Scenes between two keyframes. */
  const KEY = 4096;
  /** Least distance between two dots on a connection, in units of the drawing: where parts are closer, some are left out. */
  const APART = 9;
  /** The same for parts on a track or belt. */
  const CLOSE = 2;
  /** When a part came that was there at the beginning of the film: long before. */
  const LONG_AGO = -1e9;
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
      this.takenOf = new Map();
      this.cameOf = new Map();
      this.leftOf = new Map();
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
        const time = this.scenes.frames[n] * 2;
        if (code.is === "gave") {
          listed(this.gaveOf, code.post + ":" + code.exit).push(time + (code.bad ? 1 : 0));
        } else if (code.is === "fall" || (code.is === "level" && this.scenes.values[n] < this.levels[code.place])) {
          listed(this.takenOf, code.place).push(time);
        } else if (code.is === "state") {
          this.endSpell(code.post, begun, this.scenes.frames[n]);
        }
        this.note(code, n);
        this.apply(n);
      }
      for (let post = 0; post < this.states.length; post++) this.endSpell(post, begun, this.film.frames);
      this.spells.sort((a, b) => a.from - b.from);
      this.rewind();
    }

    /** When parts come to a track or belt, and when they leave it. */
    note(code, n) {
      if (code.place === undefined || !(this.film.places[code.place].travel_s > 0)) return;
      const more = { rise: 1, fall: -1, level: this.scenes.values[n] - this.levels[code.place] }[code.is];
      const list = listed(more > 0 ? this.cameOf : this.leftOf, code.place);
      for (let k = Math.abs(more); k > 0; k--) list.push(this.scenes.frames[n]);
    }

    /**
     * Where the parts of a track or belt are, as shares of its length from its beginning, at a time in frames: each goes on at
     * full speed until it has come up to the one before it. `each` is called with every `stride`th of them.
     */
    onBelt(place, frame, stride, each) {
      const { travel_s, capacity } = this.film.places[place];
      const came = listed(this.cameOf, place), left = listed(this.leftOf, place), first = this.film.levels[place];
      const travel = travel_s / this.film.frame_s, room = capacity || Math.max(1, this.mostOf(place));
      const head = after(left, frame), end = first + after(came, frame);
      for (let n = head + ((stride - (head % stride)) % stride); n < end; n += stride) {
        const since = n < first ? LONG_AGO : came[n - first];
        each(Math.max(0, Math.min((frame - since) / travel, 1 - (n - head) / room)));
      }
    }

    /** Most parts that are ever on a belt without a limit. */
    mostOf(place) {
      if (!this.most) this.most = new Map();
      if (!this.most.has(place)) {
        const came = listed(this.cameOf, place), left = listed(this.leftOf, place);
        let most = this.film.levels[place];
        for (let n = 0; n < came.length; n++) most = Math.max(most, this.film.levels[place] + n + 1 - after(left, came[n]));
        this.most.set(place, most);
      }
      return this.most.get(place);
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

  /** The list of a key; an empty one is made if there is none yet. */
  function listed(map, key) {
    if (!map.has(key)) map.set(key, []);
    return map.get(key);
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
      this.belts = this.findBelts();
      this.findColours();
      window.matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => { this.findColours(); this.show(); });
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
        if (places.length) make("rect", { class: "rail", x: 8, y: height - 11, width: width - 16, height: 6 });
        // On a track or belt the parts themselves are drawn.
        const isBelt = places.some((place) => this.film.places[place].travel_s > 0);
        const level = places.length && !isBelt ? make("rect", { class: "done", x: 8, y: height - 11, width: 0, height: 6 }) : null;
        const word = make("text", { class: "now", x: width - 7, y: 16 });
        found.push({ box, posts, places, level, word, width: width - 16, height, shown: "" });
      }
      return found;
    }

    /** Connections of the drawing as tables of points, with the times at which parts are given on. */
    findWays() {
      const ways = [];
      for (const line of this.svg.querySelectorAll("path.line[data-from]")) {
        const from = Number(line.dataset.from), exits = JSON.parse(line.dataset.exits);
        const lists = this.film.posts.flatMap((post, n) => {
          if (post.station !== from) return [];
          const gave = exits.map((exit) => this.course.gaveOf.get(n + ":" + exit) || []);
          // What stands on a track, belt or in a bin is taken from it by the next: its way on begins with that.
          const taken = post.body !== null && exits.includes(0) ? this.course.takenOf.get(post.body) || [] : [];
          return gave.some((list) => list.length > 0) ? gave : [taken];
        });
        const times = Uint32Array.from(lists.flat()).sort();
        if (times.length === 0) continue;
        const length = line.getTotalLength(), points = [];
        for (let i = 0; i <= 64; i++) {
          const point = line.getPointAtLength((length * i) / 64);
          points.push(point.x, point.y);
        }
        ways.push({ times, points, most: Math.max(2, Math.floor(length / APART)) });
      }
      return ways;
    }

    /** Tracks and belts of the drawing: where their parts are drawn, and in which direction they go. */
    findBelts() {
      const belts = [];
      for (const station of this.stations) {
        const at = station.box.transform.baseVal.consolidate().matrix, ix = Number(station.box.dataset.station);
        const isBack = this.goesBack(ix, at.e + station.width / 2 + 8);
        const own = station.places.filter((place) => this.film.places[place].travel_s > 0);
        own.forEach((place, n) => {
          const room = this.film.places[place].capacity || this.course.mostOf(place);
          const apart = station.width / Math.max(1, room);
          belts.push({
            place, isBack, left: at.e + 8, width: station.width,
            // Equal ones lie one above the other, as far as there is room for them.
            y: at.f + station.height - 8 - (n % 3) * 6,
            stride: Math.max(1, Math.ceil(CLOSE / apart)), size: Math.max(1.1, Math.min(2.6, 0.42 * apart)),
          });
        });
      }
      return belts;
    }

    /** Whether parts leave a box at its left: then they go from right to left in it. */
    goesBack(ix, middle) {
      const line = this.svg.querySelector('path.line[data-from="' + ix + '"]');
      if (!line) return false;
      const length = line.getTotalLength();
      return line.getPointAtLength(Math.min(length, 6)).x < middle - 1 && line.getPointAtLength(0).x < middle;
    }

    findColours() {
      const style = getComputedStyle(this.root);
      this.good = style.getPropertyValue("--ink");
      this.bad = style.getPropertyValue("--alarm");
      this.onBelts = style.getPropertyValue("--accent");
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
      this.show();
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
      // Words and bars that change faster than anybody reads would have the drawing painted anew for every frame.
      const isRead = this.written === undefined || now - this.written >= 100 || !this.isPlaying;
      if (isRead) this.written = now;
      this.show(isRead);
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

    /** Shows the frame; the parts alone if nobody could read the rest. */
    show(isRead = true) {
      const frame = Math.floor(this.frame);
      this.showParts();
      if (!isRead) return;
      this.course.seek(frame);
      for (const station of this.stations) this.showStation(station);
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

    /** All parts as dots: those of one look are drawn in one go, so that many cost little. */
    showParts() {
      if (this.scale === undefined) this.fit();
      const context = this.canvas.getContext("2d");
      context.setTransform(1, 0, 0, 1, 0, 0);
      context.clearRect(0, 0, this.canvas.width, this.canvas.height);
      context.setTransform(this.scale, 0, 0, this.scale, 0, 0);
      const good = new Path2D(), bad = new Path2D(), onBelts = new Path2D();
      this.inSight = 0;
      this.placeOnWays(good, bad);
      this.placeOnBelts(onBelts);
      for (const [path, colour] of [[onBelts, this.onBelts], [good, this.good], [bad, this.bad]]) {
        context.fillStyle = colour;
        context.fill(path);
      }
    }

    /** Parts under way between stations. The faster the clock, the longer one is shown on its way, so that it can be seen. */
    placeOnWays(good, bad) {
      const span = Math.max(0.6, 0.35 * this.speed) / this.film.frame_s;
      for (const way of this.ways) {
        const first = after(way.times, Math.max(0, this.frame - span) * 2 + 1), end = after(way.times, this.frame * 2 + 1);
        const stride = Math.max(1, Math.ceil((end - first) / way.most));
        for (let n = first + ((stride - (first % stride)) % stride); n < end; n += stride) {
          const given = Math.floor(way.times[n] / 2), isBad = way.times[n] % 2 === 1;
          const along = Math.min(1, Math.max(0, (this.frame - given) / span)) * 64;
          const i = Math.min(63, Math.floor(along)) * 2, share = along - i / 2;
          const x = way.points[i] + (way.points[i + 2] - way.points[i]) * share;
          const y = way.points[i + 1] + (way.points[i + 3] - way.points[i + 1]) * share;
          this.inSight++;
          if (isBad) bad.rect(x - 3.4, y - 3.4, 6.8, 6.8);
          else dot(good, x, y, 3.2);
        }
      }
    }

    placeOnBelts(path) {
      for (const belt of this.belts) {
        this.course.onBelt(belt.place, this.frame, belt.stride, (share) => {
          this.inSight++;
          dot(path, belt.left + belt.width * (belt.isBack ? 1 - share : share), belt.y, belt.size);
        });
      }
    }
  }

  /** Adds a dot to a path. */
  function dot(path, x, y, size) {
    path.moveTo(x + size, y);
    path.arc(x, y, size, 0, 7);
  }

  return { Course, Player, bytesOf };
})();

if (typeof document !== "undefined") {
  for (const root of document.querySelectorAll(".replay")) root.player = new feedproofReplay.Player(root);
}
if (typeof module !== "undefined") module.exports = feedproofReplay;
