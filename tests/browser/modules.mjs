// The packages the browser tests stand on. `require` also looks in NODE_PATH, where tests/run.sh keeps them outside the
// checkout; `npm ci` in this folder works as well.
import { createRequire } from 'node:module';

const require = createRequire(import.meta.url);

export const { chromium } = require('playwright-core');
export const { AxeBuilder } = require('@axe-core/playwright');
export const axePath = require.resolve('axe-core/axe.min.js');
