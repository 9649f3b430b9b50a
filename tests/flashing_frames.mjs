// Lets pictures from the standard input pass the page's flash limiter, one scene after the other: a line of JSON that tells
// size and times, then the levels of all its pictures; back come a line of JSON and the pixels of all. test_flashing.py runs it.
import { Buffer } from "node:buffer";
import { pathToFileURL } from "node:url";

const { FlashLimiter } = await import(pathToFileURL(process.argv[2]));

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


const input = process.stdin[Symbol.asyncIterator]();
let waiting = Buffer.alloc(0);

// Returns the next bytes, so many or up to the end of a line, or null at the end. Pieces are put together once.
async function take(wanted) {
  const pieces = [waiting];
  let length = waiting.length;
  const complete = () => (wanted === "line" ? pieces.at(-1).includes(10) : length >= wanted);
  while (!complete()) {
    const { value, done } = await input.next();
    if (done) return null;
    pieces.push(value);
    length += value.length;
  }
  const all = Buffer.concat(pieces);
  const end = wanted === "line" ? all.indexOf(10) + 1 : wanted;
  waiting = all.subarray(end);
  return all.subarray(0, end);
}

for (let head = await take("line"); head !== null; head = await take("line")) {
  const scene = JSON.parse(head.toString());
  play(scene, new Uint8Array(await take(scene.planes * scene.width * scene.height * scene.times.length)));
}
