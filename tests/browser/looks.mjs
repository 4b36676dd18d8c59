// What every page must stand: the accessibility engine, a narrow screen, shaking fingers, tired eyes, a slow line.
import assert from 'node:assert/strict';
import { readFileSync } from 'node:fs';
import { AxeBuilder, axePath } from './modules.mjs';

const axeSource = readFileSync(axePath, 'utf8');

export async function noViolations(page, name) {
  const found = await new AxeBuilder({ page, axeSource })
    .withTags(['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'])
    .analyze();
  const lines = found.violations.map(
    (fault) => `${fault.id}: ${fault.help}\n${fault.nodes.map((node) => `    ${node.html.slice(0, 200)}\n    ${node.failureSummary.replace(/\s+/g, ' ')}`).join('\n')}`,
  );
  assert.equal(lines.length, 0, `${name}\n${lines.join('\n')}`);
}

export function noComplaints(page, name) {
  assert.deepEqual(page.complaints, [], `${name}: the console complains`);
}

// WCAG 2.2, 1.4.10: 320 CSS pixels without scrolling sideways.
export async function noSideScroll(page, name) {
  const before = page.viewportSize();
  await page.setViewportSize({ width: 320, height: before.height });
  const wide = await page.evaluate(() => {
    const limit = 320;
    const out = [...document.querySelectorAll('body *')]
      .filter((element) => {
        const box = element.getBoundingClientRect();
        return box.width > 0 && box.right > limit + 1;
      })
      .slice(0, 5)
      .map((element) => `${element.outerHTML.slice(0, 120)} ends at ${element.getBoundingClientRect().right}`);
    return { width: document.documentElement.scrollWidth, out };
  });
  await page.setViewportSize(before);
  assert.ok(wide.width <= 320, `${name} is ${wide.width} px wide at 320:\n${wide.out.join('\n')}`);
}

// WCAG 2.2, 2.5.5 (AAA): 44 by 44 CSS pixels. Links within a sentence are the exception it names.
export async function bigTargets(page, name) {
  const small = await page.evaluate(() => {
    const shown = (element) => {
      const style = getComputedStyle(element);
      const box = element.getBoundingClientRect();
      return style.visibility !== 'hidden' && style.display !== 'none' && style.opacity !== '0' && box.width > 1 && box.height > 1;
    };
    const inSentence = (element) => {
      if (element.tagName !== 'A' || getComputedStyle(element).display !== 'inline') return false;
      const around = element.parentElement.textContent.trim();
      return around.length > element.textContent.trim().length;
    };
    const targets = document.querySelectorAll('a[href], button, input:not([type=hidden]), select, textarea, summary, label[for]');
    return [...targets]
      .filter((element) => shown(element) && !inSentence(element))
      .filter((element) => !(element.matches('.skip') && !element.matches(':focus')))
      // A field's label is as good a target as the field; text labels above fields are no targets.
      .filter((element) => !(element.tagName === 'LABEL' && /^(text|file|tel|date|number|search|textarea)$/.test(document.getElementById(element.htmlFor)?.type)))
      .filter((element) => {
        const boxes = [element, ...(element.labels ?? [])].map((part) => part.getBoundingClientRect());
        return !boxes.some((box) => box.width >= 43.5 && box.height >= 43.5);
      })
      .map((element) => {
        const box = element.getBoundingClientRect();
        return `${Math.round(box.width)}×${Math.round(box.height)} ${element.outerHTML.slice(0, 160)}`;
      });
  });
  assert.deepEqual(small, [], `${name}: too small for a shaking finger`);
}

export async function bigLetters(page, name) {
  const small = await page.evaluate(() => {
    const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
    const found = new Set();
    while (walker.nextNode()) {
      const element = walker.currentNode.parentElement;
      if (!walker.currentNode.textContent.trim() || element.closest('svg, script, style, noscript')) continue;
      const box = element.getBoundingClientRect();
      const size = parseFloat(getComputedStyle(element).fontSize);
      if (box.width > 1 && box.height > 1 && size < 16) found.add(`${size}px ${element.outerHTML.slice(0, 120)}`);
    }
    return [...found];
  });
  assert.deepEqual(small, [], `${name}: letters under 16 px`);
}

// What one page costs on the line, in bytes as sent, photos aside: HTML, styles and scripts with nothing cached.
export async function weight(page, address) {
  const sizes = [];
  const gather = async (request) => {
    if (['document', 'stylesheet', 'script'].includes(request.resourceType())) {
      const size = await request.sizes();
      sizes.push(size.responseBodySize + size.responseHeadersSize);
    }
  };
  const waiting = [];
  const listen = (request) => waiting.push(gather(request));
  page.on('requestfinished', listen);
  const client = await page.context().newCDPSession(page);
  await client.send('Network.setCacheDisabled', { cacheDisabled: true });
  await page.goto(address, { waitUntil: 'load' });
  await page.waitForTimeout(200);
  page.off('requestfinished', listen);
  await Promise.all(waiting);
  await client.send('Network.setCacheDisabled', { cacheDisabled: false });
  await client.detach();
  return sizes.reduce((sum, size) => sum + size, 0);
}
