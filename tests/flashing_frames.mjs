// Lets pictures from the standard input pass the page's flash limiter, one scene after the other: a line of JSON that tells
// size and times, then the levels of all its pictures; back come a line of JSON and the pixels of all. test_flashing.py runs it.
import { Buffer } from "node:buffer";
import { pathToFileURL } from "node:url";

const { FlashLimiter } = await import(pathToFileURL(process.argv[2]));
let waiting = Buffer.alloc(0);

function play({ width, height, seen, times, planes }, levels) {
  const size = width * height;
  const bytes = new Uint8ClampedArray(4 * size);
  const words = new Int32Array(bytes.buffer);
  const limiter = new FlashLimiter(width, height);
  const drawn = Buffer.alloc(times.length * 4 * size);
  const atWork = times.map((now, number) => {
    limiter.place(seen[number % seen.length]);
    const from = number * planes * size;
    const working = limiter.show({ levels: levels.subarray(from, from + planes * size), width, height }, words, now);
    drawn.set(bytes, number * 4 * size);
    return working;
  });
  process.stdout.write(`${JSON.stringify({ atWork, bytes: drawn.length })}\n`);
  process.stdout.write(drawn);
}

for await (const piece of process.stdin) {
  waiting = Buffer.concat([waiting, piece]);
  for (;;) {
    const end = waiting.indexOf(10);
    if (end < 0) break;
    const scene = JSON.parse(waiting.subarray(0, end).toString());
    const size = scene.planes * scene.width * scene.height * scene.times.length;
    if (waiting.length < end + 1 + size) break;
    play(scene, new Uint8Array(waiting.subarray(end + 1, end + 1 + size)));
    waiting = waiting.subarray(end + 1 + size);
  }
}
