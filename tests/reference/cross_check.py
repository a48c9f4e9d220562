"""The line of cross-check.json, written out independently with simpy, and the comparison with feedproof.

    python cross_check.py RESULT.json [REPLICATIONS] [SEED]

RESULT.json is what `feedproof run cross-check.json --json` prints. Nothing here is shared with the Rust
program: other language, other random numbers, a process view instead of places and stations. The rules are
taken from the stations' documentation only.

Each output is compared with |difference| <= 4.5 standard errors of the difference; with ten outputs a right
program fails less than once in 14,000 runs (two-sided normal tail 6.8e-6, times ten).
"""

import json
import math
import random
import sys

import simpy

ATTITUDES = ("up", "side", "down")
NATURAL = (0.5, 0.3, 0.2)


class Part:
    __slots__ = ("bent", "attitude", "passes")

    def __init__(self, rng):
        self.bent = rng.random() < 0.01
        self.attitude = rng.choices(ATTITUDES, NATURAL)[0]
        self.passes = 0


class Line:
    def __init__(self, seed):
        self.rng = random.Random(seed)
        self.env = simpy.Environment()
        self.anna = simpy.Resource(self.env, capacity=1)
        self.bin = 2000
        self.top = []        # (due, part)
        self.back = []
        self.track = [0.0] * 25   # due times; the line starts with a full track of good parts
        self.track_parts = [None] * 25
        self.lift_held = False
        self.tipping = False
        self.path_wake = None
        self.machine_wake = None
        self.track_room = None
        self.clock = {}
        self.good = self.bad = self.passes_sum = self.passes_n = 0
        self.taken = 0
        self.anna_busy = 0.0
        self.area_top = self.area_back = self.area_track = 0.0
        self.last = 0.0
        self.open_at = 0.0
        self.scrapped = 0

    # --- time accounts -----------------------------------------------------------------------------
    def integrate(self):
        now = self.env.now
        span = now - max(self.last, self.open_at)
        if now > self.open_at and span > 0:
            self.area_top += span * len(self.top)
            self.area_back += span * len(self.back)
            self.area_track += span * len(self.track)
        self.last = now

    def charge(self, what, since):
        now = self.env.now
        since = max(since, self.open_at)
        if now > since:
            self.clock[what] = self.clock.get(what, 0.0) + now - since

    # --- supply --------------------------------------------------------------------------------------
    def call_dumper(self):
        if self.bin <= 800 and not self.tipping:
            self.tipping = True
            self.env.process(self.tip())

    def tip(self):
        yield self.env.timeout(35)
        self.bin += 1500
        yield self.env.timeout(25)
        self.tipping = False
        self.call_dumper()

    def lift(self):
        """One cleat every three seconds of running time; what is aboard stands still while the lift is held."""
        aboard = []       # (running time of landing, parts)
        running = 0.0     # running time of the lift
        next_pick = 3.0
        while True:
            if self.lift_held:
                self.lift_go = self.env.event()
                yield self.lift_go
                continue
            ahead = min([next_pick] + ([aboard[0][0]] if aboard else []))
            self.lift_stop = self.env.event()
            start = self.env.now
            done = self.env.timeout(ahead - running)
            yield done | self.lift_stop
            running += self.env.now - start
            if not done.processed:
                continue
            running = ahead
            while aboard and aboard[0][0] <= running:
                _, parts = aboard.pop(0)
                self.integrate()
                for part in parts:
                    self.top.append((self.env.now + 3.0, part))
                self.top_changed()
                self.wake_path()
            if next_pick <= running:
                next_pick += 3.0
                picks = sum(self.rng.random() < 0.4 for _ in range(8))
                picks = min(picks, self.bin)
                if picks:
                    self.bin -= picks
                    aboard.append((running + 6.0, [Part(self.rng) for _ in range(picks)]))
                    self.call_dumper()

    def top_changed(self):
        n = len(self.top)
        if not self.lift_held and n >= 60:
            self.lift_held = True
            if not self.lift_stop.triggered:
                self.lift_stop.succeed()
        elif self.lift_held and n <= 40:
            self.lift_held = False
            if not self.lift_go.triggered:
                self.lift_go.succeed()

    # --- orienting -----------------------------------------------------------------------------------
    def wake_path(self):
        if self.path_wake is not None and not self.path_wake.triggered:
            self.path_wake.succeed()

    def next_for_path(self):
        """The belt that brings rejects back goes first. Returns (queue, None), or (None, time of the next)."""
        now = self.env.now
        due = math.inf
        for queue in (self.back, self.top):
            if queue:
                if queue[0][0] <= now + 1e-9:
                    return queue, None
                due = min(due, queue[0][0])
        return None, due

    def pass_tools(self, part):
        """Returns the exit: track, back or scrap."""
        rng = self.rng
        at_entry = part.attitude
        if part.bent and rng.random() < 0.9:
            return "scrap"
        kept = True
        u = rng.random()
        if part.attitude == "side":
            if u < 0.5:
                pass
            elif u < 0.9:
                part.attitude = "up"
            else:
                kept = False
        elif part.attitude == "down":
            kept = u < 0.8
        if kept:
            kept = rng.random() < {"up": 0.95, "side": 0.02, "down": 0.01}[part.attitude]
        if kept:
            return "track"
        part.attitude = at_entry if rng.random() < 0.4 else rng.choices(ATTITUDES, NATURAL)[0]
        return "back"

    def path(self):
        while True:
            since = self.env.now
            queue, due = self.next_for_path()
            while queue is None:
                self.path_wake = self.env.event()
                if due < math.inf:
                    yield self.path_wake | self.env.timeout(max(0.0, due - self.env.now))
                else:
                    yield self.path_wake
                queue, due = self.next_for_path()
            self.charge("path starved", since)
            self.integrate()
            _, part = queue.pop(0)
            if queue is self.top:
                self.top_changed()
            part.passes += 1
            since = self.env.now
            yield self.env.timeout(self.rng.uniform(0.35, 0.45))
            self.charge("path working", since)
            leads = self.pass_tools(part)
            if self.rng.random() < 0.00125:
                yield from self.clear("path", 25.0)
            if leads == "back":
                self.integrate()
                self.back.append((self.env.now + 8.0, part))
            elif leads == "scrap":
                if self.env.now > self.open_at:
                    self.scrapped += 1
            else:
                since = self.env.now
                while len(self.track) >= 25:
                    self.track_room = self.env.event()
                    yield self.track_room
                self.charge("path blocked", since)
                self.integrate()
                self.track.append(self.env.now + 3.0)
                self.track_parts.append(part)
                if self.machine_wake is not None and not self.machine_wake.triggered:
                    self.machine_wake.succeed()

    # --- point of use ----------------------------------------------------------------------------------
    def machine(self):
        while True:
            since = self.env.now
            while not self.track or self.track[0] > self.env.now + 1e-9:
                self.machine_wake = self.env.event()
                if self.track:
                    yield self.machine_wake | self.env.timeout(self.track[0] - self.env.now)
                else:
                    yield self.machine_wake
            self.charge("machine starved", since)
            self.integrate()
            self.track.pop(0)
            part = self.track_parts.pop(0)
            if self.track_room is not None and not self.track_room.triggered:
                self.track_room.succeed()
            yield self.env.timeout(0.9)
            if self.env.now > self.open_at:
                right = part is None or (part.attitude == "up" and not part.bent)
                self.good += right
                self.bad += not right
                if part is not None:
                    self.passes_sum += part.passes
                    self.passes_n += 1
            if self.rng.random() < 0.0007:
                yield from self.clear("machine", 40.0)

    def clear(self, who, mean):
        since = self.env.now
        with self.anna.request() as turn:
            yield turn
            start = self.env.now
            yield self.env.timeout(self.rng.uniform(2.0, 8.0))
            yield self.env.timeout(self.rng.expovariate(1.0 / mean))
            self.anna_busy += max(0.0, self.env.now - max(start, self.open_at))
        self.charge(who + " stopped", since)

    def run(self, warm_up, end):
        self.open_at = warm_up
        self.lift_stop = self.env.event()
        self.lift_go = self.env.event()
        for process in (self.lift(), self.path(), self.machine()):
            self.env.process(process)
        self.env.run(until=end)
        self.integrate()
        window = end - warm_up
        return {
            "good parts a minute": 60.0 * self.good / window,
            "bad parts per million": 1e6 * self.bad / (self.good + self.bad),
            "passes": self.passes_sum / self.passes_n,
            "path working": self.clock.get("path working", 0.0) / window,
            "path starved": self.clock.get("path starved", 0.0) / window,
            "path blocked": self.clock.get("path blocked", 0.0) / window,
            "machine starved": self.clock.get("machine starved", 0.0) / window,
            "top content": self.area_top / window,
            "back content": self.area_back / window,
            "track content": self.area_track / window,
        }


def moments(values):
    n = len(values)
    mean = sum(values) / n
    variance = sum((v - mean) ** 2 for v in values) / (n - 1)
    return mean, math.sqrt(variance / n)


def main():
    result = json.load(open(sys.argv[1]))
    replications = int(sys.argv[2]) if len(sys.argv) > 2 else 120
    seed = int(sys.argv[3]) if len(sys.argv) > 3 else 1
    rows = [Line(seed * 1_000_003 + n).run(1800.0, 14400.0) for n in range(replications)]
    ours = {name: moments([row[name] for row in rows]) for name in rows[0]}
    theirs = outputs_of(result)
    print(f"{'output':24}{'simpy':>12}{'feedproof':>12}{'difference / its error':>26}")
    failed = 0
    for name, (mean, error) in ours.items():
        other, other_error = theirs[name]
        spread = math.hypot(error, other_error)
        z = (mean - other) / spread if spread > 0 else (0.0 if mean == other else math.inf)
        failed += abs(z) > 4.5
        print(f"{name:24}{mean:12.5f}{other:12.5f}{z:26.2f}")
    print("they agree" if not failed else f"{failed} outputs differ")
    return 1 if failed else 0


def outputs_of(result):
    """Picks the compared outputs out of a result document: (mean, standard error)."""
    def pair(estimate):
        return estimate["mean"], estimate["standard_error"]

    stations = {station["name"]: station for station in result["stations"]}
    places = {place["name"]: place for place in result["places"]}
    point = result["points"][0]

    def state(station, word):
        return pair(next(s["share"] for s in stations[station]["states"] if s["state"] == word))

    return {
        "good parts a minute": pair(result["rate"]["mean_rate"]),
        "bad parts per million": pair(point["bad_ppm"]),
        "passes": pair(point["passes"]),
        "path working": state("path", "working"),
        "path starved": state("path", "starved"),
        "path blocked": state("path", "blocked"),
        "machine starved": state("machine", "starved"),
        "top content": pair(places["top"]["mean_content"]),
        "back content": pair(places["back"]["mean_content"]),
        "track content": pair(places["track"]["mean_content"]),
    }


if __name__ == "__main__":
    sys.exit(main())
