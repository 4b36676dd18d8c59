// The browser itself starts and shows a page: when this fails, the machine is at fault and not the program.
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { chromium } from './modules.mjs';

test('chromium starts and shows a page', async () => {
  const browser = await chromium.launch({
    executablePath: process.env.CHROMIUM ?? '/usr/bin/chromium',
    args: ['--no-sandbox'],
  });
  const page = await browser.newPage();
  await page.setContent('<title>hello</title>');
  assert.equal(await page.title(), 'hello');
  await browser.close();
});
