// The course of a film, without a page: what is shown at a time follows from the film alone.
import assert from 'node:assert/strict';
import test from 'node:test';
import { createRequire } from 'node:module';

const { Course } = createRequire(import.meta.url)('../../sim-cli/src/replay/replay.js');

// A belt of four parts that takes 10 s, filmed five times a second, with one part on it that has long been there.
const CODES = [{ is: 'rise', place: 0 }, { is: 'fall', place: 0 }, { is: 'level', place: 0 }, { is: 'state', post: 0, state: 'jam_waiting' }];
function film(records) {
  const bytes = [];
  for (let number of records.flat()) {
    for (; number > 127; number >>= 7) bytes.push((number & 127) | 128);
    bytes.push(number);
  }
  const data = {
    frame_s: 0.2, frames: 1000, levels: [1], states: ['working'], codes: CODES,
    posts: [{ name: 'belt', station: 0, exits: [null], body: 0 }], places: [{ name: 'belt', capacity: 4, travel_s: 10 }],
  };
  return new Course(data, Uint8Array.from(bytes));
}
const onBelt = (course, frame) => {
  const found = [];
  course.onBelt(0, frame, 1, (share) => found.push(share));
  return found;
};

test('a part goes on at full speed until it has come up to the one before it', () => {
  const course = film([[10, 0], [300, 1]]);
  assert.deepEqual(onBelt(course, 9), [1]);
  assert.deepEqual(onBelt(course, 10), [1, 0]);
  assert.deepEqual(onBelt(course, 35), [1, 0.5]);
  assert.deepEqual(onBelt(course, 200), [1, 0.75], 'a quarter of the belt is the room of one part');
  assert.deepEqual(onBelt(course, 310), [1], 'the first one has left');
});

test('several that come or leave together are that many', () => {
  const course = film([[10, 2, 3], [200, 2, 1]]);
  assert.deepEqual(onBelt(course, 100), [1, 0.75, 0.5]);
  assert.deepEqual(onBelt(course, 210), [1]);
  course.seek(100);
  assert.equal(course.levels[0], 3);
});

test('every other one is the same one as time goes on', () => {
  const course = film([[10, 2, 4], [200, 1]]);
  const every = (frame) => { const found = []; course.onBelt(0, frame, 2, (share) => found.push(share)); return found.length; };
  assert.equal(every(100), 2);
  assert.equal(every(210), 1, 'the first one was drawn and has left');
});

test('going back shows what was there', () => {
  const course = film([[10, 0], [5, 3], [20, 1]]);
  course.seek(1000);
  assert.deepEqual([course.levels[0], course.states[0]], [1, 'jam_waiting']);
  course.seek(14);
  assert.deepEqual([course.levels[0], course.states[0]], [2, 'working']);
  assert.deepEqual(course.spells.map((one) => [one.state, one.from, one.to]), [['working', 0, 15], ['jam_waiting', 15, 1000]]);
});
