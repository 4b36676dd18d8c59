// Every page, in a real browser, over a demo of its own: pictures show the invented practice, and nothing that other tests leave in it.
//
// SHOTS: a folder for pictures of every page at both widths. The rest as in `work.test.mjs`.
import { after, before, describe } from 'node:test';
import { launch } from './house.mjs';
import { checkPages, patientPages, staffPages } from './pages.mjs';
import { startDemo } from './server.mjs';

const world = {};

describe('every page, in a real browser', { concurrency: false }, () => {
  before(async () => {
    world.demo = await startDemo();
    world.browser = await launch();
  });
  after(async () => {
    await world.browser?.close();
    await world.demo?.stop();
  });

  describe('every staff page', () => staffPages(world));
  describe('every patient page', () => patientPages(world));
  describe('every question', () => checkPages(world));
});
