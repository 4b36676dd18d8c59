// A line between the browser and the server that can be cut: unlike the browser's own offline switch, it also ends
// streams that are open.
import net from 'node:net';
import { once } from 'node:events';

export async function openLine(home) {
  const target = new URL(home);
  const open = new Set();
  let cut = false;
  const server = net.createServer((near) => {
    if (cut) return near.destroy();
    const far = net.connect(Number(target.port), target.hostname);
    for (const [from, to] of [[near, far], [far, near]]) {
      open.add(from);
      from.pipe(to);
      from.on('error', () => to.destroy());
      from.on('close', () => { open.delete(from); to.destroy(); });
    }
  });
  server.listen(0, '127.0.0.1');
  await once(server, 'listening');
  return {
    home: `http://127.0.0.1:${server.address().port}`,
    cut: () => { cut = true; open.forEach((socket) => socket.destroy()); },
    mend: () => { cut = false; },
    close: () => { open.forEach((socket) => socket.destroy()); server.close(); },
  };
}
