// What people do in the program, in a real browser. One demo and one browser serve it all, beside those of `pages.test.mjs`:
// `node --test --test-concurrency=2 tests/browser/*.test.mjs`.
//
// CLOSEWATCH_BIN: the program (target/debug/closewatch). CHROMIUM: the browser (/usr/bin/chromium).
import { describe } from 'node:test';
import { somebodyIsThere } from './attend.mjs';
import { badDays, deskHabits } from './bad_days.mjs';
import { journeys } from './journey.mjs';
import { loop } from './loop.mjs';
import { drawing } from './outline.mjs';
import { packing } from './packing.mjs';
import { locking } from './lock.mjs';
import { passkeys } from './passkeys.mjs';
import { progress } from './progress.mjs';
import { ownProtocol } from './protocol.mjs';
import { pushes } from './push.mjs';
import { stepByStep } from './steps.mjs';
import { overADemo } from './world.mjs';

overADemo('what people do, in a real browser', (world) => {
  describe('the main job', () => journeys(world));
  describe('how far a check has come', () => progress(world));
  describe('measuring and drawing', () => drawing(world));
  describe('on a bad day', () => badDays(world));
  describe('the loop', () => loop(world));
  describe('step by step', () => stepByStep(world));
  describe('taking the strip out', () => packing(world));
  describe('at the desk', () => deskHabits(world));
  describe('locked, and at the door', () => locking(world));
  describe('passkeys', () => passkeys(world));
  describe('pushes', () => pushes(world));
  describe('whether somebody is there', () => somebodyIsThere(world));
  // Last: it changes how the demo sorts.
  describe('the practice\'s own protocol', () => ownProtocol(world));
});
