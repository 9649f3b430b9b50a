// Images from the worker, grey or in colour, onto canvases, and pictures of the user's to the worker.

import { followChoice, isHeldBack, tellHeldBack } from "./flashchoice.mjs";
import { FlashLimiter } from "./flashing.mjs";
import { paint } from "./painting.mjs";
import { say } from "./words.mjs";

const LARGEST_SIDE = 1920;

// How soon what is held back is drawn again where no new picture comes.
const AGAIN_MS = 100;

const surfaces = new Map();

function surface(name, width, height) {
  let known = surfaces.get(name);
  if (known === undefined || known.image.width !== width || known.image.height !== height) {
    const canvas = document.querySelector(`canvas[data-image="${name}"]`);
    if (canvas === null) throw new Error(`The page has no canvas for the image "${name}".`);
    clearTimeout(known?.timer);
    canvas.width = width;
    canvas.height = height;
    canvas.hidden = false;
    const context = canvas.getContext("2d", { alpha: false });
    const image = context.createImageData(width, height);
    const words = new Int32Array(image.data.buffer);
    known = { canvas, context, image, words, limiter: null, picture: null, timer: 0, box: known?.box ?? watchBox(canvas) };
    // For what is saved: a picture that stands does not flash.
    canvas.asMade = () => pictureAsMade(known.picture);
    surfaces.set(name, known);
  }
  return known;
}

// How large the canvas is on the page, kept up to date without asking for a layout at every picture.
function watchBox(canvas) {
  const box = { width: 0, height: 0 };
  new ResizeObserver((entries) => {
    const { width, height } = entries.at(-1).contentRect;
    Object.assign(box, { width, height });
  }).observe(canvas);
  return box;
}

// The part of the picture in sight, as the picture monitor magnifies it, and its size in CSS pixels.
function inSight({ canvas, box }) {
  const [times, x, y] = (canvas.dataset.magnified ?? "1 0 0").split(" ").map(Number);
  const { width, height } = canvas;
  return {
    left: x * width, top: y * height, width: width / times, height: height / times,
    cssWidth: box.width || width, cssHeight: box.height || height,
  };
}

export function draw({ name, width, height, data }) {
  const known = surface(name, width, height);
  known.picture = { levels: new Uint8Array(data), width, height };
  present(known);
}

function present(known) {
  const { context, image, picture, words } = known;
  clearTimeout(known.timer);
  const now = performance.now();
  let atWork = false;
  if (isHeldBack()) {
    known.limiter ??= new FlashLimiter(picture.width, picture.height);
    known.limiter.place(inSight(known));
    atWork = known.limiter.show(picture, words, now);
  } else {
    known.limiter = null;
    paint(picture, words);
  }
  context.putImageData(image, 0, 0);
  // Until nothing is held back any more, and the note that said so is gone.
  if (tellHeldBack(atWork, now) || atWork) known.timer = setTimeout(present, AGAIN_MS, known);
}

followChoice(() => { for (const known of surfaces.values()) present(known); });

function pictureAsMade(picture) {
  const { width, height } = picture;
  const context = new OffscreenCanvas(width, height).getContext("2d");
  const image = context.createImageData(width, height);
  paint(picture, new Int32Array(image.data.buffer));
  context.putImageData(image, 0, 0);
  return context.canvas;
}

// Reads a picture file, no larger than needed, as bytes of red, green and blue (transparent is white).
async function readPicture(file) {
  const bitmap = await createImageBitmap(file);
  const scale = Math.min(1, LARGEST_SIDE / Math.max(bitmap.width, bitmap.height));
  const width = Math.max(1, Math.round(bitmap.width * scale));
  const height = Math.max(1, Math.round(bitmap.height * scale));
  const context = new OffscreenCanvas(width, height).getContext("2d", { willReadFrequently: true });
  context.fillStyle = "white";
  context.fillRect(0, 0, width, height);
  context.drawImage(bitmap, 0, 0, width, height);
  bitmap.close();
  const { data } = context.getImageData(0, 0, width, height);
  const levels = new Uint8Array(3 * width * height);
  for (let from = 0, to = 0; to < levels.length; from += 4, to += 3) {
    levels[to] = data[from];
    levels[to + 1] = data[from + 1];
    levels[to + 2] = data[from + 2];
  }
  return { width, height, data: levels.buffer };
}

export function acceptPictures(send) {
  const input = document.getElementById("picture-file");
  const status = document.getElementById("picture-file-status");
  const take = async (file) => {
    if (!file) return;
    status.textContent = say("file.reading", { name: file.name });
    let picture;
    try {
      picture = await readPicture(file);
    } catch (error) {
      console.info(`createImageBitmap refused ${file.name}: ${error}`);
      status.textContent = say("file.unreadable", { name: file.name });
      return;
    }
    if (picture.width < 2 || picture.height < 2) {
      status.textContent = say("file.small", { name: file.name });
      return;
    }
    send({ type: "picture_file", name: file.name, ...picture }, [picture.data]);
    status.textContent = say("file.playing", { name: file.name });
  };
  input.disabled = false;
  input.addEventListener("change", () => take(input.files[0]));
  const zone = input.closest("section");
  zone.addEventListener("dragover", (event) => event.preventDefault());
  zone.addEventListener("drop", (event) => {
    event.preventDefault();
    take(event.dataTransfer.files[0]);
  });
}
