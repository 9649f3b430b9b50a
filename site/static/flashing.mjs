// Holds back what would flash: a limiter between the picture as it is made and the picture as it is drawn.
//
// What counts is told by WCAG 2.2, success criterion 2.3.1, "general flash and red flash thresholds": more than three
// pairs of opposing changes within a second, over a quarter of any 341 x 256 CSS pixels. Fine noise is no flashing there:
// the means of small blocks are watched, not single picture elements. A block that would flash becomes a mixture of what
// it shows and what it should show, with as much of the latter as keeps its mean near a slow one. Nothing but what is
// drawn is changed. It knows of no page: time and size are given.

import { GREY, paint } from "./painting.mjs";

// PUB WCAG 2.2: three flashes of two changes each, of which one is kept in reserve for places across several
// blocks; changes of a tenth of the largest luminance, the darker below 0.8.
const MOST_CHANGES = 2 * 3 - 2;
const CHANGE = 0.1;
const DARKEST = 0.8;
const RECTANGLE = { width: 341, height: 256 };
const SHARE = 0.25;
// PUB WCAG 2.2: saturated red is R / (R + G + B) of 0.8 and more.
const SATURATED = 0.8;
// MODEL, all below. The limits are kept with some room: another division of the picture into blocks finds them kept too.
const SECOND_MS = 1050;
const ROOM = 0.8;
const NEARLY = 0.95;
// Blocks change at different times, while a place across several of them already flashes: it begins before the area is full.
const AREA_ROOM = 0.5;
// A change from or to saturated red counts from here on, in R - G - B: sooner than in either definition of WCAG 2.2.
const RED_CHANGE = 0.02;
// Blocks in CSS pixels: two and more in the height of one head's band, and so large that fine noise has a steady mean in
// them; smaller ones where the picture is magnified, for there two elements are no longer finer than WCAG's 0.1 degree.
const BLOCK = { width: 24, height: 8 };
const SMALL_BLOCK = { width: 12, height: 6 };
const LARGE_ELEMENT = 1.7;
// From this width on, in elements, a block is measured by every third of a line.
const ELEMENTS_FOR_EACH_THIRD = 9;
// How far a limited block's mean may go from its slow one, how slow that is, and how much of a new picture it takes.
const SWING = 0.04;
const SLOW_MS = 1000;
const LARGEST_PART = 0.5;
// One limited block of so many is drawn anew with each picture.
const TURNS = 3;
// A limited block makes no more changes a second than this, and is let go when what it should show makes no more.
const CALM_CHANGES = 2;
// From so many changes a second on, a block among those that flash is limited with them.
const JOINING_CHANGES = 2;

// PUB IEC 61966-2-1: the screen's own curve and back; light in whole numbers, which are quicker.
const BRIGHTEST = 16384;
const LIGHT = Uint16Array.from({ length: 256 }, (_, code) => {
  const level = code / 255;
  return Math.round(BRIGHTEST * (level <= 0.04045 ? level / 12.92 : ((level + 0.055) / 1.055) ** 2.4));
});
const CODE = Uint8Array.from({ length: BRIGHTEST + 1 }, (_, light) => {
  const linear = light / BRIGHTEST;
  return Math.round(255 * (linear <= 0.0031308 ? 12.92 * linear : 1.055 * linear ** (1 / 2.4) - 0.055));
});
// In a mixture the parts are counted in these.
const PARTS_BITS = 10;
const PARTS = 1 << PARTS_BITS;

// For each block: which way its value went last, from which extreme a change back is counted, and when changes were.
class Changes {
  constructor(count, threshold, darkest) {
    this.threshold = threshold;
    this.darkest = darkest;
    this.way = new Int8Array(count);
    this.low = new Float32Array(count).fill(Infinity);
    this.high = new Float32Array(count).fill(-Infinity);
    this.times = new Float64Array(count * (MOST_CHANGES + 1)).fill(-Infinity);
    this.next = new Uint8Array(count);
  }

  // +1 or -1 if this value completes a change up or down, else 0.
  wayTo(block, value) {
    const low = this.low[block];
    const high = this.high[block];
    if (this.way[block] <= 0 && value - low >= this.threshold && low < this.darkest) return 1;
    if (this.way[block] >= 0 && high - value >= this.threshold && value < this.darkest) return -1;
    return 0;
  }

  note(block, value, now) {
    const way = this.wayTo(block, value);
    if (way !== 0) {
      this.way[block] = way;
      this.low[block] = this.high[block] = value;
      this.times[block * (MOST_CHANGES + 1) + this.next[block]] = now;
      this.next[block] = (this.next[block] + 1) % (MOST_CHANGES + 1);
      return;
    }
    if (value < this.low[block]) this.low[block] = value;
    if (value > this.high[block]) this.high[block] = value;
  }

  // Whether so many changes were within the last second.
  had(block, many, now) {
    const ring = MOST_CHANGES + 1;
    return now - this.times[block * ring + (this.next[block] + ring - many) % ring] < SECOND_MS;
  }

  // As if it had just made all changes that are allowed.
  exhaust(block, now) {
    this.times.fill(now, block * (MOST_CHANGES + 1), (block + 1) * (MOST_CHANGES + 1));
  }
}

// PUB WCAG 2.2, relative luminance.
function lightOf([red, green, blue], block) {
  return 0.2126 * red[block] + 0.7152 * green[block] + 0.0722 * blue[block];
}

// How red what is saturated red is; 0 for everything else.
function rednessOf(red, green, blue) {
  return red > 0 && red >= SATURATED * (red + green + blue) ? red - green - blue : 0;
}

const redOf = ([red, green, blue], block) => rednessOf(red[block], green[block], blue[block]);

// Light mixes as light does, not as its codes: so the mean of the mixture is the mixture of the means.
function blendGrey({ levels, width }, words, given, left, right, top, bottom) {
  const kept = PARTS - given;
  const [light, code, grey] = [LIGHT, CODE, GREY];
  for (let y = top; y < bottom; y += 1) {
    for (let at = y * width + left, end = y * width + right; at < end; at += 1) {
      words[at] = grey[code[(kept * light[words[at] & 255] + given * light[levels[at]] + PARTS / 2) >> PARTS_BITS]];
    }
  }
}

function blendColour({ levels, width, height }, words, given, left, right, top, bottom) {
  const kept = PARTS - given;
  const size = width * height;
  const [light, code] = [LIGHT, CODE];
  for (let y = top; y < bottom; y += 1) {
    for (let at = y * width + left, end = y * width + right; at < end; at += 1) {
      const word = words[at];
      const red = code[(kept * light[word & 255] + given * light[levels[at]] + PARTS / 2) >> PARTS_BITS];
      const green = code[(kept * light[word >> 8 & 255] + given * light[levels[size + at]] + PARTS / 2) >> PARTS_BITS];
      const blue = code[(kept * light[word >> 16 & 255] + given * light[levels[2 * size + at]] + PARTS / 2) >> PARTS_BITS];
      words[at] = 0xff000000 | blue << 16 | green << 8 | red;
    }
  }
}

// The mean of every line's every third element (of few, every one), from another one on in each line: all lines of noise have
// their share, and of the dots of a colour subcarrier, which change places from picture to picture, as many are dark as
// bright. What is measured is a plane of levels ...
function lightOfLevels(levels, top, bottom, width, across, each) {
  const light = LIGHT;
  let [sum, count, first] = [0, 0, 0];
  for (let line = top; line < bottom; line += width) {
    const end = line + across;
    let at = line + first;
    for (; at < end; at += each) sum += light[levels[at]];
    count += (at - line - first) / each;
    first = first === each - 1 ? 0 : first + 1;
  }
  return sum / (count * BRIGHTEST);
}

// ... or what was drawn, red, green and blue.
function lightOfWords(words, top, bottom, width, across, each) {
  const light = LIGHT;
  let [red, green, blue, count, first] = [0, 0, 0, 0, 0];
  for (let line = top; line < bottom; line += width) {
    const end = line + across;
    let at = line + first;
    for (; at < end; at += each) {
      const word = words[at];
      red += light[word & 255];
      green += light[word >> 8 & 255];
      blue += light[word >> 16 & 255];
    }
    count += (at - line - first) / each;
    first = first === each - 1 ? 0 : first + 1;
  }
  const all = count * BRIGHTEST;
  return [red / all, green / all, blue / all];
}

// The edges of parts of about this size.
function edges(from, to, size) {
  const parts = Math.max(1, Math.round((to - from) / size));
  return Uint16Array.from({ length: parts + 1 }, (_, part) => Math.round(from + (to - from) * part / parts));
}

export class FlashLimiter {
  constructor(width, height) {
    this.width = width;
    this.height = height;
    this.atWork = false;
    this.key = "";
    this.turn = 0;
  }

  // What part of the picture is in sight, in picture elements, { left, top, width, height }, and how large it is in CSS
  // pixels, { cssWidth, cssHeight }. To be told before the first picture.
  place(seen) {
    const key = JSON.stringify(seen);
    if (key === this.key) return;
    this.key = key;
    this.fresh = true;
    const large = seen.cssWidth > LARGE_ELEMENT * seen.width;
    const block = large ? SMALL_BLOCK : BLOCK;
    const change = (large ? ROOM : NEARLY) * CHANGE;
    this.columns = edges(seen.left, seen.left + seen.width, block.width * seen.width / seen.cssWidth);
    this.rows = edges(seen.top, seen.top + seen.height, block.height * seen.height / seen.cssHeight);
    this.across = this.columns.length - 1;
    this.down = this.rows.length - 1;
    // In small blocks every element counts.
    this.each = seen.width >= ELEMENTS_FOR_EACH_THIRD * this.across ? 3 : 1;
    const size = { width: seen.cssWidth / this.across, height: seen.cssHeight / this.down };
    this.window = {
      across: Math.min(this.across, Math.ceil(RECTANGLE.width / size.width)),
      down: Math.min(this.down, Math.ceil(RECTANGLE.height / size.height)),
      blocks: AREA_ROOM * SHARE * RECTANGLE.width * RECTANGLE.height / (size.width * size.height),
    };
    const count = this.across * this.down;
    this.count = count;
    this.asked = new Changes(count, change, DARKEST);
    this.shown = new Changes(count, change, DARKEST);
    this.askedRed = new Changes(count, RED_CHANGE, Infinity);
    this.shownRed = new Changes(count, RED_CHANGE, Infinity);
    this.wanted = [0, 1, 2].map(() => new Float32Array(count));
    this.given = [0, 1, 2].map(() => new Float32Array(count));
    this.slow = new Float32Array(count);
    this.limited = new Uint8Array(count);
    this.until = new Float64Array(count);
    this.wants = new Uint8Array(count);
    this.sums = new Int32Array((this.across + 1) * (this.down + 1));
  }

  // Draws a picture ({ levels, width, height }) over the one that was drawn before it. Tells whether anything was held back.
  show(picture, words, now) {
    this.measure(picture.levels);
    if (this.fresh) this.begin(words, now);
    const slowness = 1 - Math.exp(-Math.max(0, now - this.last) / SLOW_MS);
    this.last = now;
    let wanting = false;
    let limiting = false;
    for (let block = 0; block < this.count; block += 1) {
      const light = lightOf(this.wanted, block);
      const red = redOf(this.wanted, block);
      this.slow[block] += slowness * (light - this.slow[block]);
      this.asked.note(block, light, now);
      this.askedRed.note(block, red, now);
      if (this.limited[block] && now >= this.until[block] && !this.restless(block, now)) this.limited[block] = 0;
      this.wants[block] = !this.limited[block] && this.tooMuch(block, light, red, now) ? 1 : 0;
      wanting ||= this.wants[block] === 1;
      limiting ||= this.limited[block] === 1;
    }
    if (wanting && this.restrain(now)) limiting = true;
    this.atWork = limiting;
    if (limiting) this.mix(picture, words, now);
    else paint(picture, words);
    for (let block = 0; block < this.count; block += 1) {
      if (!limiting) this.passed(block);
      this.shown.note(block, lightOf(this.given, block), now);
      this.shownRed.note(block, redOf(this.given, block), now);
    }
    return limiting;
  }

  restless(block, now) {
    return this.asked.had(block, CALM_CHANGES + 1, now) || this.askedRed.had(block, CALM_CHANGES + 1, now);
  }

  tooMuch(block, light, red, now) {
    return (this.shown.wayTo(block, light) !== 0 && this.shown.had(block, MOST_CHANGES, now))
      || (this.shownRed.wayTo(block, red) !== 0 && this.shownRed.had(block, MOST_CHANGES, now));
  }

  // The mean light of every block.
  measure(levels) {
    const size = this.width * this.height;
    const { columns, rows, across, down } = this;
    const planes = levels.length / size;
    for (let plane = 0; plane < planes; plane += 1) {
      const means = this.wanted[plane];
      for (let row = 0, block = 0; row < down; row += 1) {
        const top = plane * size + rows[row] * this.width;
        const bottom = plane * size + rows[row + 1] * this.width;
        for (let column = 0; column < across; column += 1, block += 1) {
          const left = columns[column];
          means[block] = lightOfLevels(levels, top + left, bottom + left, this.width, columns[column + 1] - left, this.each);
        }
      }
    }
    if (planes === 1) for (const plane of [1, 2]) this.wanted[plane].set(this.wanted[0]);
  }

  // At another size or magnification the blocks are others. If some were held back, all are until it is calm.
  begin(words, now) {
    this.fresh = false;
    this.last = now;
    for (let block = 0; block < this.count; block += 1) {
      this.slow[block] = lightOf(this.wanted, block);
      if (!this.atWork) continue;
      this.limited[block] = 1;
      this.until[block] = now + SECOND_MS;
      this.shown.exhaust(block, now);
      this.shownRed.exhaust(block, now);
      this.take(words, block);
      this.slow[block] = lightOf(this.given, block);
      this.shown.note(block, this.slow[block], now);
    }
  }

  // Limits those that would flash where they, those that are limited and those that do flash are a quarter of the view.
  restrain(now) {
    const { across, down, window, sums, wants, limited } = this;
    for (let row = 0, block = 0; row < down; row += 1) {
      let line = 0;
      for (let column = 0; column < across; column += 1, block += 1) {
        const flashes = wants[block] || limited[block]
          || this.shown.had(block, MOST_CHANGES + 1, now) || this.shownRed.had(block, MOST_CHANGES + 1, now);
        line += flashes ? 1 : 0;
        sums[(row + 1) * (across + 1) + column + 1] = sums[row * (across + 1) + column + 1] + line;
      }
    }
    let any = false;
    for (let top = 0; top + window.down <= down; top += 1) {
      for (let left = 0; left + window.across <= across; left += 1) {
        const [above, below] = [top * (across + 1), (top + window.down) * (across + 1)];
        const right = left + window.across;
        if (sums[below + right] - sums[below + left] - sums[above + right] + sums[above + left] < window.blocks) continue;
        for (let row = top; row < top + window.down; row += 1) {
          for (let block = row * across + left; block < row * across + right; block += 1) {
            if (limited[block] || !(wants[block] || this.joins(block, now))) continue;
            wants[block] = 0;
            limited[block] = 1;
            this.until[block] = now + SECOND_MS;
            any = true;
          }
        }
      }
    }
    return any;
  }

  // Whether a block among many that flash is limited with them: the changes of several add up in a place across them.
  joins(block, now) {
    return this.shown.had(block, JOINING_CHANGES, now) || this.shownRed.had(block, JOINING_CHANGES, now);
  }

  // How much of what a limited block should show it may show now, from 0 to 1.
  part(block, now) {
    const from = lightOf(this.given, block);
    const to = lightOf(this.wanted, block);
    const slow = this.slow[block];
    let aim = Math.min(slow + SWING, Math.max(slow - SWING, to));
    if (this.shown.had(block, CALM_CHANGES, now)) {
      // No change may be completed: it ends short of one.
      const short = NEARLY * this.shown.threshold;
      if (this.shown.wayTo(block, aim) > 0) aim = this.shown.low[block] + short;
      if (this.shown.wayTo(block, aim) < 0) aim = this.shown.high[block] - short;
    }
    const part = Math.abs(to - from) < 1e-4 ? LARGEST_PART : Math.min(LARGEST_PART, Math.max(0, (aim - from) / (to - from)));
    if (!this.shownRed.had(block, CALM_CHANGES, now)) return part;
    const mixed = this.given.map((means, plane) => means[block] + part * (this.wanted[plane][block] - means[block]));
    return this.shownRed.wayTo(block, rednessOf(...mixed)) === 0 ? part : 0;
  }

  // Draws block by block: as it is made, or mixed with what stood there.
  mix(picture, words, now) {
    const { columns, rows, across, down, width, height } = this;
    const [left, right, top, bottom] = [columns[0], columns[across], rows[0], rows[down]];
    // What is out of sight.
    paint(picture, words, 0, width, 0, top);
    paint(picture, words, 0, width, bottom, height);
    paint(picture, words, 0, left, top, bottom);
    paint(picture, words, right, width, top, bottom);
    this.turn = (this.turn + 1) % TURNS;
    const blend = picture.levels.length === width * height ? blendGrey : blendColour;
    for (let row = 0, block = 0; row < down; row += 1) {
      for (let column = 0; column < across; column += 1, block += 1) {
        // What is limited moves slowly: it is drawn anew in turn, which costs a part of the time.
        if (this.limited[block] && (row + column + this.turn) % TURNS !== 0) continue;
        const part = this.limited[block] ? Math.round(PARTS * this.part(block, now)) : PARTS;
        if (part === PARTS) {
          paint(picture, words, columns[column], columns[column + 1], rows[row], rows[row + 1]);
          this.passed(block);
        } else if (part > 0) {
          blend(picture, words, part, columns[column], columns[column + 1], rows[row], rows[row + 1]);
          this.take(words, block);
        }
      }
    }
  }

  passed(block) {
    for (let plane = 0; plane < 3; plane += 1) this.given[plane][block] = this.wanted[plane][block];
  }

  // The means of a block as it is drawn: rounding may have moved them.
  take(words, block) {
    const row = Math.floor(block / this.across);
    const column = block % this.across;
    const left = this.columns[column];
    const [top, bottom] = [this.width * this.rows[row] + left, this.width * this.rows[row + 1] + left];
    const means = lightOfWords(words, top, bottom, this.width, this.columns[column + 1] - left, this.each);
    for (let plane = 0; plane < 3; plane += 1) this.given[plane][block] = means[plane];
  }
}
