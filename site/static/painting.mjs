// Puts levels of a picture, grey or red, green and blue as planes one after the other, among the pixels of a canvas.
//
// A pixel is one 32-bit word, which is written faster than its bytes: red lowest, then green, blue and opaque. Machines of
// the other byte order are none of ours: WebAssembly, in which the bench runs, has this one.

const OPAQUE = 0xff << 24;

// The word of each grey level.
export const GREY = Int32Array.from({ length: 256 }, (_, level) => OPAQUE | level * 0x010101);

export function paint({ levels, width, height }, words, left = 0, right = width, top = 0, bottom = height) {
  const size = width * height;
  const grey = levels.length === size;
  const table = GREY;
  for (let y = top; y < bottom; y += 1) {
    const end = y * width + right;
    let at = y * width + left;
    if (grey) for (; at < end; at += 1) words[at] = table[levels[at]];
    else for (; at < end; at += 1) words[at] = OPAQUE | levels[at] | levels[size + at] << 8 | levels[2 * size + at] << 16;
  }
}
