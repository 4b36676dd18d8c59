// A demo of its own and a browser, for as long as the tests over them last.
import { after, before, describe } from 'node:test';
import { launch } from './house.mjs';
import { startDemo } from './server.mjs';

export function overADemo(title, tests) {
  const world = {};
  describe(title, { concurrency: false }, () => {
    before(async () => {
      world.demo = await startDemo();
      world.browser = await launch();
    });
    after(async () => {
      await world.browser?.close();
      await world.demo?.stop();
    });
    tests(world);
  });
}
