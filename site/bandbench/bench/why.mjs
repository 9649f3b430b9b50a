// The why views: drawings made from numbers. What they say is worked out in sim.drawings; here it is only put on paper.

const SLOWNESS = 2000;
const MINUS = "−";

const f = (value) => Number(value.toFixed(2));
const figure = (value, decimals) => value.toFixed(decimals).replace(/^-(?=.*[1-9])/, MINUS).replace(/^-/, "");
const clamp = (value, low, high) => Math.min(Math.max(value, low), high);
const line = (points, closed = false) => `M${points.map(([x, y]) => `${f(x)} ${f(y)}`).join("L")}${closed ? "Z" : ""}`;
const path = (d, cls, more = {}) => s("path", { d, class: cls, ...more });
const text = (x, y, label, cls = "", more = {}) => s("text", { x: f(x), y: f(y), class: cls, ...more }, label);
const group = (attributes, ...children) => s("g", attributes, ...children);

function chip(head, x, y) {
  return group({ class: "chip", "data-head": head, transform: `translate(${f(x)} ${f(y)})` }, s("circle", { r: 8 }), text(0, 0, String(head), "middle", { dy: "0.36em" }));
}

function cross(x, y, cls, turned) {
  const a = turned ? 3.5 : 5;
  const b = turned ? 3.5 : 0;
  return path(`M${f(x - a)} ${f(y - b)}L${f(x + a)} ${f(y + b)}M${f(x - b)} ${f(y + a)}L${f(x + b)} ${f(y - a)}`, cls);
}

// An arc about a centre, from one angle to another [deg]; 0 points right, positive angles go up.
function arc(x, y, radius, from, to) {
  const points = [];
  for (let i = 0; i <= 36; i += 1) {
    const angle = ((from + ((to - from) * i) / 36) * Math.PI) / 180;
    points.push([x + radius * Math.cos(angle), y - radius * Math.sin(angle)]);
  }
  return line(points);
}

function wrapped(label, width) {
  const rows = [""];
  for (const word of label.split(" ")) {
    const row = rows[rows.length - 1];
    if (row !== "" && row.length + 1 + word.length > width) rows.push(word);
    else rows[rows.length - 1] = row === "" ? word : `${row} ${word}`;
  }
  return rows;
}

// Something that turns once in a turn of the wheel, with what must stay upright in it.
function turning(content, upright, turnMs) {
  const once = { duration: turnMs, iterations: Infinity };
  // Heads sweep upwards past the tape on the right: against the clock.
  const animations = [content.animate([{ transform: "rotate(0deg)" }, { transform: "rotate(-360deg)" }], once)];
  for (const one of upright) animations.push(one.animate([{ transform: "rotate(0deg)" }, { transform: "rotate(360deg)" }], once));
  for (const animation of animations) animation.pause();
  return animations;
}

// Each of these makes an empty drawing: { size, nodes, show(numbers), animations }.
const DRAWINGS = {
  tape(words, turnMs, first) {
    const size = [320, 240];
    const scale = 200 / first.tape_width_m;
    const along = scale * first.exaggeration_along;
    const pitch = first.track_pitch_m * along;
    const x = (metres) => 2.3 * pitch + metres * along;
    const y = (metres) => 20 + (first.tape_width_m / 2 - metres) * scale;
    const half = first.half_length_m;
    const width = first.track_width_m * along;
    const rise = Math.tan((first.angle_deg * Math.PI) / 180) * half * along;
    const still = group({});
    const band = (k) => line([[k * pitch - rise - width / 2, y(-half)], [k * pitch - rise + width / 2, y(-half)], [k * pitch + rise + width / 2, y(half)], [k * pitch + rise - width / 2, y(half)]], true);
    const heads = [0, 1, 2, 3].map((k) => group({ "data-head": k + 1 }, s("rect", { class: "moving-head", x: f(-width / 2), y: -7, width: f(width), height: 14, rx: 2 }), text(0, 0, String(k + 1), "middle on-head", { dy: "0.36em" })));
    const paths = group({ class: "paths" },
      ...[3, 2, 1, 0].map((k) => group({ "data-head": k + 1 }, path(band(k), k === 0 ? "head-path first" : "head-path"))), ...heads);
    const animations = heads.map((head, k) => {
      const from = `translate(${f(k * pitch - rise)}px, ${f(y(-half))}px)`;
      const to = `translate(${f(k * pitch + rise)}px, ${f(y(half))}px)`;
      const frames = [{ offset: 0, opacity: 0, transform: from }, { offset: k / 4, opacity: 0, transform: from }, { offset: k / 4, opacity: 1, transform: from }];
      frames.push({ offset: (k + 1) / 4, opacity: 1, transform: to }, { offset: (k + 1) / 4, opacity: 0, transform: to }, { offset: 1, opacity: 0, transform: to });
      const animation = head.animate(frames, { duration: turnMs, iterations: Infinity });
      animation.pause();
      animation.currentTime = turnMs / 8;
      return animation;
    });
    const show = (d) => {
      const tracks = d.tracks.map((track) => {
        const left = track.middle_m.map(([mx, my]) => [x(mx) - width / 2, y(my)]);
        const right = track.middle_m.map(([mx, my]) => [x(mx) + width / 2, y(my)]).reverse();
        const [nx, ny] = track.middle_m[track.middle_m.length - 2];
        return group({ class: "track-shape", "data-head": track.head }, path(line([...left, ...right], true), "track-area"), text(x(nx), y(ny), String(track.head), "middle track-number", { dy: "0.36em" }));
      });
      const edge = d.tape_width_m / 2;
      const sine = [];
      const low = y(-(half + (edge - half) * 0.66));
      for (let px = 0; px <= size[0]; px += 2) {
        const metres = (px - x(0)) / along;
        sine.push([px, low - 3 * Math.sin(2 * Math.PI * (metres / d.control_period_m + d.control_cycles))]);
      }
      const pulse = x(d.frame_pulse_m);
      still.replaceChildren(
        s("rect", { class: "tape-area", x: 0, y: f(y(edge)), width: size[0], height: f(2 * edge * scale) }),
        s("rect", { class: "edge-track", x: 0, y: f(y(edge)), width: size[0], height: f(d.sound_width_m * scale) }),
        s("rect", { class: "edge-track", x: 0, y: f(y(-half) + 1), width: size[0], height: f(d.cue_width_m * scale) }),
        ...tracks, path(line(sine), "thin"), path(`M${f(pulse)} ${f(low - 3)}V${f(low - 8)}`, "thin strong"),
        text(size[0] - 4, 14, words.sound_track, "end small"), text(size[0] - 4, size[1] - 6, words.cue_and_control, "end small"));
      paths.setAttribute("transform", `translate(${f(x(d.path_x_m))} 0)`);
    };
    return { size, nodes: [still, paths], show, animations };
  },

  guide(words, turnMs, first) {
    const size = [340, 220];
    const [cx, cy] = [92, 112];
    const scale = 76 / first.tip_radius_m;
    const um = 1e-6 * first.exaggeration * scale;
    const still = group({});
    const top = group({});
    const wheel = group({});
    const labels = [];
    const tips = [0, 1, 2, 3].map((k) => {
      const tip = s("rect", { class: "tip", y: -4, height: 8 });
      const upright = group({}, chip(k + 1, 0, 0));
      labels.push(upright);
      return { tip, element: group({ "data-head": k + 1, transform: `rotate(${90 * k})` }, tip, group({ transform: `translate(46 0) rotate(${-90 * k})` }, upright)) };
    });
    const hub = s("circle", { class: "hub" });
    wheel.append(hub, ...tips.map((tip) => tip.element));
    const animations = turning(wheel, labels, turnMs);
    const graph = (y0, label, low, high) => ({ x: (share) => 216 + 118 * share, y: (share) => y0 + 68 * share, frame: [s("rect", { class: "graph", x: 216, y: y0, width: 118, height: 68 }), text(334, y0 - 5, label, "end small"), ...(low === "" ? [] : [text(216, y0 + 80, low, "small quiet"), text(334, y0 + 80, high, "end small quiet")])] });
    const show = (d) => {
      const surface = (d.tip_radius_m - Math.max(...d.projections_um) * 1e-6 * d.exaggeration) * scale;
      hub.setAttribute("r", f(surface));
      tips.forEach(({ tip }, k) => {
        tip.setAttribute("x", f(surface - 1));
        tip.setAttribute("width", f(d.projections_um[k] * um + 1));
      });
      const [gx, gy] = [cx + d.centre_um[0] * um, cy - d.centre_um[1] * um];
      const face = d.tip_radius_m * scale - (d.tip_radius_m - d.tape_radius_m) * d.exaggeration * scale;
      still.replaceChildren(
        path(arc(gx, gy, face + 9, -d.half_arc_deg, d.half_arc_deg), "guide-body"),
        path(`M${cx} ${cy}H${f(cx + 86)}`, "thin quiet-line"));
      const apart = Math.hypot(gx - cx, gy - cy) > 1;
      top.replaceChildren(
        path(arc(gx, gy, face, -d.half_arc_deg, d.half_arc_deg), "tape-line"),
        cross(cx, cy, "thin strong", false), cross(gx, gy, "accent-line", true),
        ...(apart ? [path(line([[cx, cy], [gx, gy]]), "accent-line")] : []),
        text(4, 12, `+ ${words.axis}`, "small"), text(4, 216, `× ${words.centre}`, "small accent-text"),
        text(clamp(gx + face * 0.72 + 14, 120, 205), 26, words.guide, "small"), text(clamp(gx + face * 0.72 + 14, 120, 205), 210, words.tape, "small"));
      // A line that should be upright, as it lies in one band: time runs down, early is to the left.
      const shape = graph(24, fill(words.band_shape, { range: 1 }), words.early, words.late);
      const steps = d.early_us.length - 1;
      const bend = d.early_us.map((early, i) => [shape.x(clamp(0.5 - early / 2, 0, 1)), shape.y(i / steps)]);
      const press = graph(134, fill(words.penetration, { range: 150 }), `${MINUS}45°`, "+45°");
      const curves = d.penetrations_um.map((depths, k) => {
        const points = depths.map((depth, i) => [press.x(i / steps), press.y(1 - clamp(depth / 150, 0, 1))]);
        return group({ "data-head": k + 1 }, path(line(points), "head-curve"), text(...points[2 + 5 * k], String(k + 1), "middle small head-text", { dy: "-0.35em" }));
      });
      top.append(...shape.frame, path(line([[shape.x(0.5), shape.y(0)], [shape.x(0.5), shape.y(1)]]), "thin quiet-line"), path(line(bend), "trace-line"), ...press.frame, ...curves);
    };
    return { size, nodes: [still, group({ transform: `translate(${cx} ${cy})` }, wheel), top], show, animations };
  },

  wheel(words, turnMs, first) {
    const size = [340, 196];
    const [cx, cy] = [92, 98];
    const wheel = group({});
    const labels = [0, 1, 2, 3].map((k) => group({}, chip(k + 1, 0, 0)));
    const spokes = labels.map((label, k) => {
      const upright = group({}, label);
      const inner = group({ "data-head": k + 1 }, path("M0 0H78", "spoke"), s("rect", { class: "tip", x: 68, y: -4, width: 10, height: 8 }), group({ transform: "translate(50 0)" }, upright));
      return { inner, upright };
    });
    wheel.append(s("circle", { class: "hub", r: 68 }), path("M-78 0H78M0 -78V78", "thin quiet-line dashed"), ...spokes.map((spoke) => spoke.inner));
    const animations = turning(wheel, labels, turnMs);
    const table = group({});
    const show = (d) => {
      const rows = [];
      d.heads.forEach((head, k) => {
        const turn = head.angle_deg - clamp((head.error_arcmin / 60) * d.exaggeration, -40, 40);
        spokes[k].inner.setAttribute("transform", `rotate(${f(turn)})`);
        spokes[k].upright.setAttribute("transform", `rotate(${f(-turn)})`);
        spokes[k].inner.setAttribute("class", head.is_on ? "" : "channel-off");
        const y = 22 + 46 * k;
        const side = head.early_ns > 0 ? words.early : words.late;
        const by = d.figures ? `${figure(Math.abs(head.early_ns), 0)} ns · ${figure(Math.abs(head.error_arcmin), 2)}′ ` : "";
        const apart = Math.abs(head.early_ns) < 0.5 ? words.on_time : `${by}${side}`;
        const share = head.level_db === null ? 0 : clamp((head.level_db + 30) / 33, 0, 1);
        const level = !head.is_on ? words.channel_off : head.level_db === null ? "" : `${figure(head.level_db, 1)} dB`;
        rows.push(group({ "data-head": head.head }, chip(head.head, 206, y), text(222, y - 3, apart, "small"), text(222, y + 10, fill(words.plays, { head: head.follows }), "small quiet"),
          s("rect", { class: "graph", x: 222, y: y + 15, width: 68, height: 7 }), s("rect", { class: "level", x: 222, y: y + 15, width: f(68 * share), height: 7 }), text(338, y + 22, level, "end small")));
      });
      table.replaceChildren(path(arc(cx, cy, 84, 105, 150), "thin strong"), path("M15.5 51l1.5 9 6.5 -6.5Z", "flow-head"), path(arc(cx, cy, 83, -d.arc_deg / 2, d.arc_deg / 2), "tape-line"), text(148, 26, words.tape, "small"), ...rows);
    };
    return { size, nodes: [group({ transform: `translate(${cx} ${cy})` }, wheel), table], show, animations };
  },

  changeover(words, turnMs, first) {
    const size = [320, 182];
    const from = first.parts_s[0][1];
    const to = first.parts_s[4][2];
    const x = (time) => 10 + ((time - from) / (to - from)) * 300;
    const still = group({});
    const show = (d) => {
      const [before, , , back, after] = d.parts_s;
      const sync = [[x(before[2]), 126], [x(0), 126], [x(0), 146], [x(back[1]), 146], [x(back[1]), 126], [x(after[1]), 126]];
      const now = x(clamp(d.switch_s, from, to));
      still.replaceChildren(
        s("rect", { class: "graph", x: f(x(from)), y: 92, width: f(x(before[2]) - x(from)), height: 34 }), s("rect", { class: "graph", x: f(x(after[1])), y: 92, width: f(x(to) - x(after[1])), height: 34 }),
        text((x(from) + x(before[2])) / 2, 113, words.picture, "middle small"), text((x(after[1]) + x(to)) / 2, 113, words.picture, "middle small"),
        path(line(sync), "trace-line"), s("rect", { class: "burst", x: f(x(d.burst_s[0])), y: 118, width: f(x(d.burst_s[1]) - x(d.burst_s[0])), height: 16 }), text((x(d.burst_s[0]) + x(d.burst_s[1])) / 2, 112, words.burst, "middle small"),
        s("rect", { class: "taken", x: 10, y: 18, width: f(now - 10), height: 14 }), s("rect", { class: "spare", x: f(now), y: 18, width: f(310 - now), height: 14 }),
        s("rect", { class: "spare", x: 10, y: 38, width: f(now - 10), height: 14 }), s("rect", { class: "taken", x: f(now), y: 38, width: f(310 - now), height: 14 }),
        path(`M${f(now)} 14V164`, d.place === "picture" ? "bad-line" : "accent-line"), text(clamp(now, 24, 296), 177, words.switch, "middle small strong-text"),
        // Last, so that no line goes through words.
        text(14, 12, words.head_leaves, "small halo"), text(310, 66, words.head_enters, "end small halo"), text(14, 82, fill(words.overlap, { time: figure(d.overlap_s * 1e6, 0) }), "small quiet halo"),
        text((x(0) + x(back[1])) / 2, 159, words.sync, "middle small halo"));
    };
    return { size, nodes: [still], show, animations: [] };
  },

  spectrum(words) {
    const size = [340, 208];
    const x = (hertz) => 92 + hertz * 0.98e-5;
    const base = 164;
    const still = group({});
    const show = (d) => {
      const height = (level) => (1 - level / d.floor_db) * 112;
      const nodes = [
        s("rect", { class: "video-band", x: f(x(0)), y: base - 116, width: f(x(d.video_band_hz) - x(0)), height: 116 }), text(x(0) + 2, base - 120, words.video_band, "small quiet"),
        path(`M0 ${base}H340M${f(x(0))} ${base - 116}V${base + 5}`, "thin"),
      ];
      for (let level = 0; level > d.floor_db; level -= 20) nodes.push(path(`M0 ${f(base - height(level))}h5`, "thin"), text(8, base - height(level) + 4, level === 0 ? "0 dB" : figure(level, 0), "small quiet"));
      const beats = [];
      for (let mhz = -8; mhz <= 20; mhz += 4) nodes.push(path(`M${f(x(mhz * 1e6))} ${base}v4`, "thin"), text(x(mhz * 1e6), base + 16, figure(mhz, 0), "middle small quiet"));
      nodes.push(text(337, base + 16, words.mhz, "end small quiet"));
      const carriers = [[d.sync_hz, words.sync], [d.blanking_hz, words.blanking], [d.white_hz, words.white]];
      carriers.forEach(([hertz, label], row) => nodes.push(path(`M${f(x(hertz))} ${base}V${10 + 14 * row}h${f(x(d.white_hz) - x(hertz) + 8)}`, "thin quiet-line"), text(x(d.white_hz) + 11, 14 + 14 * row, label, "small")));
      for (const { order, frequency_hz, level_db, folded, product_hz, in_picture } of d.lines) {
        const place = x(frequency_hz);
        if (place > 338) continue;
        const tip = base - height(level_db);
        const cls = order === 0 ? "carrier-line" : folded ? "bad-line" : "accent-line";
        if (folded && x(-frequency_hz) > 0) nodes.push(path(`M${f(x(-frequency_hz))} ${base}V${f(tip)}`, "thin dashed quiet-line"), path(`M${f(x(-frequency_hz))} ${f(tip)}Q${f(x(0))} ${f(tip - 26)} ${f(place)} ${f(tip)}`, "thin dashed bad-line"));
        nodes.push(path(`M${f(place)} ${base}V${f(tip)}`, cls, { "data-order": order }), text(place, tip - 4, order === 0 ? "" : figure(order, 0), folded ? "middle small bad-text halo" : "middle small halo"));
        if (in_picture) beats.push(path(`M${f(x(product_hz) - 4)} ${base - 8}h8l-4 8Z`, "beat-mark"), text(x(product_hz), base - 12, `${figure(product_hz / 1e6, 2)} ${words.mhz}`, "middle small bad-text halo"));
      }
      nodes.push(...beats, path("M4 198h14", "bad-line"), text(22, 202, words.folded, "small"), path("M176 194h8l-4 8Z", "beat-mark"), text(190, 202, words.beat, "small"));
      still.replaceChildren(...nodes);
    };
    return { size, nodes: [still], show, animations: [] };
  },

  current(words) {
    const size = [320, 210];
    const x = (percent) => 34 + ((percent - 10) / 240) * 270;
    const y = (level) => 40 + (clamp(level, -12, 0) / -12) * 126;
    const still = group({});
    const show = (d) => {
      const nodes = [];
      for (let level = 0; level >= -12; level -= 3) nodes.push(path(`M34 ${f(y(level))}H314`, "thin quiet-line"), text(30, y(level) + 4, figure(level, 0), "end small quiet"));
      for (const percent of [50, 100, 150, 200, 250]) nodes.push(path(`M${f(x(percent))} 166v4`, "thin"), text(x(percent), 181, String(percent), "middle small quiet"));
      nodes.push(text(314, 194, words.current_axis, "end small"), text(4, 12, words.level_axis, "small"), text(314, 207, words.past_peak, "end small quiet"));
      // Numbers stand in a row above, side by side, each with a line to its point.
      const order = [...d.heads].sort((a, b) => a.current_pct - b.current_pct || a.head - b.head);
      const places = order.map((head) => x(head.current_pct));
      for (let i = 1; i < 4; i += 1) places[i] = Math.max(places[i], places[i - 1] + 19);
      const over = Math.max(0, places[3] - 308);
      const mean = places.reduce((sum, place, i) => sum + place - x(order[i].current_pct), 0) / 4;
      order.forEach((head, i) => {
        const column = places[i] - Math.max(over, mean);
        const points = d.currents_pct.map((percent, j) => [x(percent), y(head.curve_db[j])]).filter(([, py], j, all) => py < 166 || (all[j + 1]?.[1] ?? 166) < 166 || (all[j - 1]?.[1] ?? 166) < 166);
        const good = [[x(head.peak_pct), y(0)], [x((head.peak_pct + head.past_peak_pct) / 2), y(d.past_peak_db / 4)], [x(head.past_peak_pct), y(d.past_peak_db)]];
        nodes.push(group({ "data-head": head.head }, path(line(points), "head-curve"), path(line(good), "good-part"),
          path(line([[column, 28], [x(head.current_pct), y(head.level_db)]]), "thin quiet-line"), s("circle", { class: "point", cx: f(x(head.current_pct)), cy: f(y(head.level_db)), r: 4 }), chip(head.head, column, 20)));
      });
      still.replaceChildren(...nodes);
    };
    return { size, nodes: [still], show, animations: [] };
  },

  loop(words) {
    const size = [320, 200];
    const places = { reference: [2, 8], compare: [114, 8], drive: [226, 8], machine: [226, 112], sensor: [114, 112] };
    const still = group({});
    const show = (d) => {
      const nodes = [path("M94 48H112M206 48H224M272 90V110M226 152H208M160 112V92", "flow")];
      nodes.push(path("M112 48l-6 -4v8ZM224 48l-6 -4v8ZM272 110l-4 -6h8ZM208 152l6 -4v8ZM160 92l-4 6h8Z", "flow-head"));
      for (const block of d.blocks) {
        const [bx, by] = places[block.name];
        nodes.push(s("rect", { class: "block", x: bx, y: by, width: 92, height: 82, rx: 4 }));
        wrapped(block.title, 13).forEach((row, i) => nodes.push(text(bx + 46, by + 15 + 13 * i, row, "middle small")));
        const value = block.value === null ? "" : `${figure(block.value, block.unit === "µs" || block.unit === "rev/s" ? 2 : 1)} ${block.unit}`;
        nodes.push(text(bx + 46, by + 74, value, "middle strong-text", { "data-block": block.name }));
      }
      const needle = 160 + 40 * clamp(d.error / d.error_range, -1, 1);
      nodes.push(path("M120 40H200M160 36V44", "thin quiet-line"), path(`M${f(needle)} 32V48`, "accent-line wide"));
      still.replaceChildren(...nodes);
    };
    return { size, nodes: [still], show, animations: [] };
  },
};

function figureOf(numbers, index, words, turnMs) {
  const drawing = DRAWINGS[numbers.kind](words, turnMs, numbers);
  const [width, height] = drawing.size;
  const title = h("h3", { id: `why-title-${index}` });
  const sentence = h("p", { class: "why-sentence", id: `why-sentence-${index}` });
  const caption = h("p", { class: "about why-caption" });
  const svg = s("svg", { viewBox: `0 0 ${width} ${height}`, role: "img", "aria-labelledby": `why-title-${index}`, "aria-describedby": `why-sentence-${index}`, focusable: "false" }, ...drawing.nodes);
  const element = h("figure", { class: "why-figure", "data-kind": numbers.kind }, title, svg, sentence, caption);
  const show = (now) => {
    setText(title, now.title);
    setText(sentence, now.sentence);
    setText(caption, now.caption);
    caption.hidden = now.caption === "";
    drawing.show(now);
  };
  return { kind: numbers.kind, element, show, animations: drawing.animations };
}

export function render({ model, el }) {
  const { words } = model;
  const view = choice("why-view", words.choose, (name) => model.send_msg({ view: name }));
  const tone = choice("why-tone", words.tone, (hertz) => model.send_msg({ video_hz: hertz }));
  const hidden = h("p", { class: "about why-hidden" });
  const figures = h("div", { class: "why-figures" });
  const slow = h("p", { class: "about why-slow" }, fill(words.slow, { factor: SLOWNESS }));
  const settings = h("div", { class: "row" }, view.element, tone.element);
  const part = h("div", { class: "part why" }, settings, hidden, figures, slow);
  el.append(part);

  const calm = matchMedia("(prefers-reduced-motion: reduce)");
  let shown = [];
  let turn = 0;
  let inSight = true;
  // What turns is kept by the browser's clock, with the whole drawing, until it is told to end.
  const end = () => {
    for (const { animations } of shown) for (const animation of animations) animation.cancel();
  };
  model.on("lifecycle:remove", end);
  const move = () => {
    const moving = model.moving && !calm.matches;
    for (const { animations } of shown) {
      for (const animation of animations) {
        if (moving && inSight) animation.play();
        else animation.pause();
      }
    }
    part.dataset.moving = String(moving);
    slow.hidden = !moving || !shown.some(({ animations }) => animations.length > 0);
  };
  const draw = () => {
    const drawings = JSON.parse(model.drawings);
    const same = turn === model.turn_s && drawings.length === shown.length && drawings.every(({ kind }, i) => kind === shown[i].kind);
    if (!same) {
      turn = model.turn_s;
      end();
      shown = drawings.map((numbers, index) => figureOf(numbers, index, words, turn * 1000));
      figures.replaceChildren(...shown.map(({ element }) => element));
    }
    shown.forEach((one, i) => one.show(drawings[i]));
    part.dataset.stage = model.stage;
    if (!same) move();
  };
  follow(model, ["drawings", "turn_s", "stage"], draw);
  follow(model, ["moving"], move);
  listenTo(model, calm, "change", move);
  new IntersectionObserver((entries) => {
    inSight = entries[entries.length - 1].isIntersecting;
    move();
  }).observe(part);
  follow(model, ["views", "view", "hidden", "frequencies", "frequency"], () => {
    view.show(model.view, model.views);
    view.element.hidden = model.views.length < 2;
    tone.show(model.frequency, model.frequencies);
    tone.element.hidden = model.frequencies.length === 0 || model.hidden !== "";
    settings.hidden = view.element.hidden && tone.element.hidden;
    setText(hidden, model.hidden);
    hidden.hidden = model.hidden === "";
  });
}
