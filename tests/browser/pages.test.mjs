// Every page, in a real browser, over a demo of its own: pictures show the invented practice, and nothing that other tests leave in it.
//
// SHOTS: a folder for pictures of every page at both widths. The rest as in `work.test.mjs`.
import { describe } from 'node:test';
import { checkPages, patientPages, staffPages } from './pages.mjs';
import { overADemo } from './world.mjs';

overADemo('every page, in a real browser', (world) => {
  describe('every staff page', () => staffPages(world));
  describe('every patient page', () => patientPages(world));
  describe('every question', () => checkPages(world));
});
