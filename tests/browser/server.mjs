// The real program as a child process, with the invented practice or with an empty house.
import { spawn } from 'node:child_process';
import { once } from 'node:events';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import path from 'node:path';
import { createInterface } from 'node:readline';
import { fileURLToPath } from 'node:url';

const root = path.resolve(path.dirname(fileURLToPath(import.meta.url)), '../..');
const binary = process.env.CLOSEWATCH_BIN ?? path.join(root, 'target/debug/closewatch');

// A photo that somebody painted for the demo.
export const painted = (name) => path.join(root, 'seed-data/photos', name);

async function start(args, isReady, limitMs = 300_000, folder = mkdtempSync(path.join(tmpdir(), 'closewatch-browser-'))) {
  const child = spawn(binary, [...args, '--data', path.join(folder, 'data')], { stdio: ['ignore', 'pipe', 'pipe'] });
  const lines = [];
  const said = createInterface({ input: child.stdout });
  child.stderr.on('data', (text) => lines.push(String(text)));
  const ready = new Promise((done, fail) => {
    const late = setTimeout(() => fail(new Error(`the server did not start:\n${lines.join('\n')}`)), limitMs);
    said.on('line', (line) => {
      lines.push(line);
      if (isReady(line)) {
        clearTimeout(late);
        done();
      }
    });
    child.on('exit', (code) => {
      clearTimeout(late);
      fail(new Error(`the server ended with ${code}:\n${lines.join('\n')}`));
    });
    child.on('error', fail);
  });
  await ready;
  const kill = async () => {
    if (child.exitCode === null) {
      const ended = once(child, 'exit');
      child.kill('SIGKILL');
      await ended;
    }
  };
  const stop = async () => {
    await kill();
    rmSync(folder, { recursive: true, force: true });
  };
  return { lines, stop, kill, folder };
}

// Starts the demo and reads from its lines what it tells whoever looks around. `again` kills it and goes on over
// its data, at the time its clock showed last.
export async function startDemo(more = []) {
  const { lines, stop, kill, folder } = await start(['demo', '--port', '0', ...more], (line) => line.startsWith('Data are in '));
  const home = lines.join('\n').match(/sign in at (http:\/\/\S+)\/sign-in/)[1];
  const staff = {};
  const links = [];
  for (const line of lines) {
    const member = line.match(/^ {2}(surgeon|office|lead)\s+(\S+)\s+(\S+)\s+(.+)$/);
    if (member) staff[member[1]] ??= { name: member[2], password: member[3] };
    const link = line.match(/^ {2}(http:\/\/\S+\/k\/\S+)\s+PIN (\d{6})\s+(.+)$/);
    if (link) links.push({ url: link[1], pin: link[2], patient: link[3] });
  }
  if (!staff.surgeon || !staff.office || !staff.lead || links.length < 2) {
    throw new Error(`the demo's lines were not understood:\n${lines.join('\n')}`);
  }
  const data = path.join(folder, 'data');
  const shows = clockOf(more);
  const again = async () => {
    await kill();
    const port = new URL(home).port;
    const next = await start(['demo', '--go-on', '--port', port, '--speed', String(shows.speed)], (line) => line.startsWith('Data are in '), 60_000, folder);
    return { home, staff, links, data, stop: next.stop, minutes: shows.minutes };
  };
  // The same data served in earnest, with these options more.
  const asServer = async (options) => {
    await kill();
    const next = await start(['serve', '--port', new URL(home).port, '--public-url', home, ...options], (line) => line.startsWith('Closewatch listens'), 60_000, folder);
    return { home, staff, links, data, stop: next.stop, minutes: shows.minutes };
  };
  return { home, staff, links, data, stop, again, asServer, minutes: shows.minutes };
}

// What a demo's clock shows, by how it was started: minutes from then as a datetime-local field takes them.
function clockOf(more) {
  const option = (name) => (more.includes(name) ? more[more.indexOf(name) + 1] : undefined);
  const [speed, at, began] = [Number(option('--speed') ?? 1), option('--at'), Date.now()];
  const local = (ms) => new Intl.DateTimeFormat('sv-SE', { timeZone: 'America/New_York', dateStyle: 'short', timeStyle: 'short' })
    .format(new Date(ms)).replace(' ', 'T');
  const shownAtStart = () => {
    if (!at) return began;
    for (let back = 0; back < 48 * 60; back += 1) {
      const then = Math.floor(began / 60_000) * 60_000 - back * 60_000;
      if (local(then).endsWith(`T${at.padStart(5, '0')}`)) return then;
    }
    return began;
  };
  const shown = shownAtStart();
  const now = () => shown + (Date.now() - began) * speed;
  return {
    minutes: (from) => local(now() + from * 60_000),
    speed,
  };
}
