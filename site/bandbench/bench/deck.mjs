// The deck: what is left on the reels, and the deck drawn in the order of the tape's way.

// The drawing: a reel at each end, the path between them. Lengths of the tape on a reel are true to scale.
const WIDE = 360;
const HIGH = 132;
const UNITS_PER_MM = 0.287;
const HUB_MM = 57.15;
const FULL_MM = 174;
const ROW = 84;
const SUPPLY = [52, 62];
const TAKEUP = [308, 62];
const WHEEL = [168, 68];
const CAPSTAN = [214, ROW - 8];
// Marks never turn faster than this, whatever the reel does: a fast wind must not flicker. [rad/s]
const MOST_RATE = 6;

const d = (number) => number.toFixed(1);

// Where a straight tape from a point outside meets a circle; `side` chooses one of the two places.
function tangent([px, py], [cx, cy], r, side) {
  const [dx, dy] = [px - cx, py - cy];
  const far = Math.hypot(dx, dy);
  const angle = Math.atan2(dy, dx) + side * Math.acos(Math.min(1, r / far));
  return [cx + r * Math.cos(angle), cy + r * Math.sin(angle)];
}

function reelDrawing([cx, cy]) {
  const tape = s("circle", { class: "wound", cx, cy, r: 1 });
  const mark = s("g", {}, s("path", { class: "mark-line", d: `M0 0V${d(-HUB_MM * UNITS_PER_MM)}` }));
  const flange = s("circle", { class: "flange", cx, cy, r: d(FULL_MM * UNITS_PER_MM) });
  const edge = s("g", {}, s("circle", { class: "edge-mark", cx: 0, cy: d(-FULL_MM * UNITS_PER_MM + 4), r: 2.5 }));
  const element = s("g", {}, flange, tape, s("circle", { class: "reel-hub", cx, cy, r: d(HUB_MM * UNITS_PER_MM) }));
  const turning = s("g", { transform: `translate(${cx} ${cy})` }, mark, edge);
  element.append(turning);
  const turn = (angle) => {
    for (const part of [mark, edge]) part.setAttribute("transform", `rotate(${d((angle * 180) / Math.PI)})`);
  };
  turn(0);
  return { element, tape, turn, show: (radiusMm) => tape.setAttribute("r", d(radiusMm * UNITS_PER_MM)) };
}

function deckDrawing(words) {
  const supply = reelDrawing(SUPPLY);
  const takeup = reelDrawing(TAKEUP);
  const tape = s("path", { class: "tape-line", d: "" });
  const arm = (x) => {
    const roller = s("circle", { class: "roller", r: 5, cx: x });
    const rod = s("path", { class: "thin-line" });
    const label = s("text", { x, y: HIGH - 6, class: "middle" }, words.arm);
    return { x, element: s("g", {}, s("path", { class: "thin-line", d: `M${x - 5} 36h10` }), rod, roller, label), show: (place) => {
      const y = ROW + 14 - 26 * place;
      roller.setAttribute("cy", d(y));
      rod.setAttribute("d", `M${x} 36V${d(y)}`);
      return y;
    } };
  };
  const supplyArm = arm(124);
  const takeupArm = arm(244);
  const wheelMark = s("g", {}, s("path", { class: "mark-line", d: "M-13 0H13M0 -13V13" }));
  const wheel = s("g", {}, s("circle", { class: "roller", cx: WHEEL[0], cy: WHEEL[1], r: 16 }), s("g", { transform: `translate(${WHEEL[0]} ${WHEEL[1]})` }, wheelMark));
  const guide = s("path", { class: "guide-body", d: `M${WHEEL[0] - 16} ${ROW + 4}q16 8 32 0v10h-32Z` });
  const capstan = s("circle", { class: "roller", cx: CAPSTAN[0], cy: CAPSTAN[1], r: 8 });
  const pinch = s("circle", { class: "roller", cx: CAPSTAN[0], r: 8 });
  const labels = [[SUPPLY[0], words.supply_reel], [WHEEL[0], words.wheel_guide], [CAPSTAN[0], words.capstan], [TAKEUP[0], words.takeup_reel]]
    .map(([x, label], index) => s("text", { x, y: [1, 2].includes(index) ? (index === 1 ? 14 : 30) : HIGH - 6, class: "middle" }, label));
  const leads = s("path", { class: "thin-line quiet-line", d: `M${WHEEL[0]} 18V${WHEEL[1] - 18}M${CAPSTAN[0]} 34V${CAPSTAN[1] - 10}` });
  const covers = s("rect", { class: "covers", x: 1, y: 1, width: WIDE - 2, height: HIGH - 2, rx: 6 });
  const svg = s("svg", { viewBox: `0 0 ${WIDE} ${HIGH}`, role: "img", "aria-label": words.drawing, "aria-describedby": "deck-sentence", focusable: "false" },
    covers, leads, supply.element, takeup.element, supplyArm.element, takeupArm.element, guide, wheel, capstan, pinch, tape, ...labels);
  const show = (now) => {
    supply.show(now.supply_mm);
    takeup.show(now.takeup_mm);
    const [left, right] = [supplyArm.show(now.supply_arm) + 5, takeupArm.show(now.takeup_arm) + 5];
    guide.setAttribute("transform", `translate(0 ${now.guide ? 0 : 14})`);
    pinch.setAttribute("cy", ROW + (now.pinched ? 9 : 18));
    supply.element.classList.toggle("away", !now.fitted);
    tape.style.display = now.fitted && now.threaded ? "" : "none";
    const [x1, y1] = tangent([supplyArm.x, left], SUPPLY, now.supply_mm * UNITS_PER_MM, 1);
    const [x2, y2] = tangent([takeupArm.x, right], TAKEUP, now.takeup_mm * UNITS_PER_MM, -1);
    tape.setAttribute("d", `M${d(x1)} ${d(y1)}L${supplyArm.x} ${d(left)}L${WHEEL[0] - 16} ${ROW + (now.guide ? 1 : 4)}${now.guide ? "q16 6 32 0" : "h32"}L${CAPSTAN[0] - 4} ${ROW}h8L${takeupArm.x} ${d(right)}L${d(x2)} ${d(y2)}`);
    covers.classList.toggle("open", now.open);
  };
  const turn = (angles) => {
    supply.turn(angles.supply);
    takeup.turn(angles.takeup);
    wheelMark.setAttribute("transform", `rotate(${d((angles.wheel * 180) / Math.PI)})`);
  };
  return { svg, show, turn };
}

export function render({ model, el }) {
  const { words } = model;
  const left = { supply: h("dd", { class: "value", "data-now": "supply" }), takeup: h("dd", { class: "value", "data-now": "takeup" }) };
  const drawing = deckDrawing(words);
  const sentence = h("p", { class: "about", id: "deck-sentence" });
  const part = h("div", { class: "part deck-part" },
    h("dl", { class: "left-on" },
      h("div", {}, h("dt", {}, words.left_supply), left.supply), h("div", {}, h("dt", {}, words.left_takeup), left.takeup)),
    h("figure", { class: "deck" }, drawing.svg, sentence),
    h("details", { class: "cautions" }, h("summary", {}, words.cautions), model.cautions.map((text) => h("p", {}, text))));
  el.append(part);

  // Between two ticks the marks turn on by themselves, unless less motion is asked for.
  const calm = matchMedia("(prefers-reduced-motion: reduce)");
  const angles = { supply: 0, takeup: 0, wheel: 0 };
  const rates = { supply: 0, takeup: 0, wheel: 0 };
  let last = null;
  let inSight = true;
  const step = (now) => {
    const moving = inSight && !calm.matches && Object.values(rates).some((rate) => rate !== 0);
    if (!moving) {
      last = null;
      return;
    }
    if (last !== null) {
      for (const name of Object.keys(angles)) angles[name] += (rates[name] * Math.min(now - last, 100)) / 1000;
      drawing.turn(angles);
    }
    last = now;
    requestAnimationFrame(step);
  };
  const start = () => { if (last === null) requestAnimationFrame(step); };
  listenTo(model, calm, "change", start);
  new IntersectionObserver((entries) => {
    inSight = entries[entries.length - 1].isIntersecting;
    start();
  }).observe(part);

  follow(model, ["now"], () => {
    const now = JSON.parse(model.now);
    for (const reel of ["supply", "takeup"]) setText(left[reel], now[reel] || words.none);
    setText(sentence, now.sentence);
    drawing.show(now.deck);
    const most = (rate) => Math.max(-MOST_RATE, Math.min(MOST_RATE, rate));
    Object.assign(rates, { supply: most(now.deck.supply_rate), takeup: most(now.deck.takeup_rate), wheel: now.deck.wheel_rate > 0 ? 3 : 0 });
    start();
  });
}
