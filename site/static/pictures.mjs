// Images from the worker, grey or in colour, onto canvases, and pictures of the user's to the worker.

import { say } from "./words.mjs";

// One 32-bit word for each grey level, in the byte order of this machine: opaque, equal red, green and blue.
const GREY = new Uint32Array(256);
for (let level = 0; level < 256; level += 1) {
  new Uint8Array(GREY.buffer, 4 * level, 4).set([level, level, level, 255]);
}

const LARGEST_SIDE = 1920;

const surfaces = new Map();

function surface(name, width, height) {
  let known = surfaces.get(name);
  if (known === undefined || known.image.width !== width || known.image.height !== height) {
    const canvas = document.querySelector(`canvas[data-image="${name}"]`);
    if (canvas === null) throw new Error(`The page has no canvas for the image "${name}".`);
    canvas.width = width;
    canvas.height = height;
    canvas.hidden = false;
    const context = canvas.getContext("2d", { alpha: false });
    const image = context.createImageData(width, height);
    known = { context, image, words: new Uint32Array(image.data.buffer) };
    surfaces.set(name, known);
  }
  return known;
}

export function draw({ name, width, height, data }) {
  const { context, image, words } = surface(name, width, height);
  const levels = new Uint8Array(data);
  const size = width * height;
  if (levels.length === size) {
    for (let i = 0; i < size; i += 1) words[i] = GREY[levels[i]];
  } else {
    const bytes = image.data; // red, green and blue come as planes, one after the other
    for (let i = 0, to = 0; i < size; i += 1, to += 4) {
      bytes[to] = levels[i];
      bytes[to + 1] = levels[size + i];
      bytes[to + 2] = levels[2 * size + i];
      bytes[to + 3] = 255;
    }
  }
  context.putImageData(image, 0, 0);
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
