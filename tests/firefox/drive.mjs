// Uses the page in Firefox as a learner does. Arguments: folder of the driving library, Firefox, address, folder for pictures.
// Prints what it did and every complaint; its exit status is 1 if anything is not as it should be.
import { createRequire } from "node:module";
import { join } from "node:path";
import { pathToFileURL } from "node:url";

const [library, executablePath, address, folder] = process.argv.slice(2);
const resolve = createRequire(join(library, "package.json")).resolve;
const { default: puppeteer } = await import(pathToFileURL(resolve("puppeteer-core")));

const PATIENCE_MS = 240_000;
const browser = await puppeteer.launch({ browser: "firefox", executablePath, headless: true });
const page = await browser.newPage();
await page.setViewport({ width: 1400, height: 900 });
page.setDefaultTimeout(PATIENCE_MS);

const complaints = [];
const complain = (text) => {
  complaints.push(text);
  console.log(`COMPLAINT ${text}`);
};
page.on("console", (line) => {
  if (["error", "warn", "warning", "assert"].includes(line.type())) complain(`console ${line.type()}: ${line.text()}`);
});
page.on("pageerror", (error) => complain(`error: ${error.message ?? error}`));
page.on("requestfailed", (request) => complain(`failed: ${request.url()} ${request.failure()?.errorText ?? ""}`));
page.on("request", (request) => {
  const url = request.url();
  if (![address, "data:", `blob:${new URL(address).origin}`].some((own) => url.startsWith(own))) complain(`asks another origin: ${url}`);
});

// In the page: all elements that a selector finds, through every shadow root.
await page.evaluateOnNewDocument(() => {
  globalThis.everywhere = (selector, from = document) => {
    const found = [...from.querySelectorAll(selector)];
    for (const element of from.querySelectorAll("*")) if (element.shadowRoot) found.push(...globalThis.everywhere(selector, element.shadowRoot));
    return found;
  };
  globalThis.seen = (selector) => globalThis.everywhere(selector).filter((element) => element.checkVisibility());
  // Brightness of every eighth picture element of every eighth line.
  globalThis.picture = () => {
    const canvas = document.querySelector("canvas[data-image=picture]");
    const copy = new OffscreenCanvas(canvas.width, canvas.height).getContext("2d", { willReadFrequently: true });
    copy.drawImage(canvas, 0, 0);
    const { data } = copy.getImageData(0, 0, canvas.width, canvas.height);
    return Array.from({ length: Math.floor(data.length / 4 / 61) }, (_, index) => data[4 * 61 * index]);
  };
  globalThis.readings = () => Object.fromEntries(globalThis.everywhere("[data-reading]").map((one) => [one.dataset.reading, one.textContent.trim()]));
});

let step = "start";
const begun = Date.now();
async function did(what, doing) {
  step = what;
  const from = Date.now();
  const told = await doing();
  console.log(`${((Date.now() - begun) / 1000).toFixed(1).padStart(6)} s  ${what}${told === undefined ? "" : `: ${told}`} (${Date.now() - from} ms)`);
}
const until = (condition, ...values) => page.waitForFunction(condition, { polling: 50 }, ...values);
const shoot = (name) => page.screenshot({ path: join(folder, `${name}.png`) });
function hold(truth, what) {
  if (!truth) throw new Error(what);
}

// With the keyboard: the element has the focus, then the keys.
async function press(selector, ...keys) {
  await until((wanted) => seen(wanted).length > 0, selector);
  await page.evaluate((wanted) => seen(wanted)[0].focus(), selector);
  for (const key of keys) await page.keyboard.press(key);
}

async function changedPicture(before) {
  const after = await page.evaluate(() => picture());
  return after.reduce((sum, level, index) => sum + Math.abs(level - before[index]), 0) / after.length / 255;
}

try {
  await did("opens the page", async () => {
    await page.goto(address);
    await until(() => document.body.dataset.state !== "loading");
    const state = await page.evaluate(() => document.body.dataset.state);
    hold(state === "running", `the page says ${state}: ${await page.evaluate(() => document.getElementById("trouble").innerText)}`);
    return page.evaluate(() => `first picture ${Math.round(bandbench.statistics.firstPictureMs)} ms, running ${Math.round(bandbench.statistics.runningMs)} ms after the start`);
  });
  await did("chooses to practise", async () => {
    await press("[data-mode=practise]", "Enter");
    await until(() => seen("[data-mode=practise]").length === 0 && everywhere(".part.meters[data-revision]").length > 0);
  });
  await did("sees a live picture", async () => {
    const before = await page.evaluate(() => [bandbench.statistics.frames, picture()]);
    const from = Date.now();
    await until((frames) => bandbench.statistics.frames > frames + 15, before[0]);
    const rate = 1000 * (await page.evaluate(() => bandbench.statistics.frames) - before[0]) / (Date.now() - from);
    hold(await changedPicture(before[1]) > 0, "frames are drawn, but the picture is always the same");
    return `${rate.toFixed(1)} pictures a second`;
  });
  await shoot("practise");
  await did("turns a control by keyboard; picture and readings follow", async () => {
    await press("#picture button[aria-pressed], .part.monitor .row button", "Enter");
    await press(".stage-button[data-stage=headwheel]", "Enter");
    await until(() => seen("section[data-stage=headwheel]").length > 0);
    const before = await page.evaluate(() => [readings().skew_us, everywhere("[data-control=guide_position_um] input.figure")[0].value, picture()]);
    const revision = await page.evaluate(() => Number(everywhere(".part.meters")[0].dataset.revision));
    const from = Date.now();
    await press("[data-control=guide_position_um] input[type=range]", "PageUp", "PageUp");
    await until((old) => Number(everywhere(".part.meters")[0].dataset.revision) > old, revision);
    await until((old) => readings().skew_us !== old, before[0]);
    const after = await page.evaluate(() => [readings().skew_us, everywhere("[data-control=guide_position_um] input.figure")[0].value]);
    hold(after[1] !== before[1], `the figure still says ${after[1]}`);
    const change = await changedPicture(before[2]);
    hold(change > 0.01, `the picture changed by ${change} only`);
    return `guide ${before[1]} to ${after[1]} um, skew ${before[0]} to ${after[0]}, picture by ${(100 * change).toFixed(1)} %, after ${Date.now() - from} ms`;
  });
  await shoot("guide-turned");
  await did("opens the waveform monitor as a spectrum", async () => {
    const drawn = () => page.evaluate(() => {
      const canvas = everywhere("#root-waveform canvas, canvas").filter((one) => one.dataset.image === undefined && one.width > 100)[0];
      const { data } = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height);
      let sum = 0;
      for (let at = 0; at < data.length; at += 4 * 37) sum = (sum * 31 + data[at] + data[at + 1]) % 1_000_003;
      return sum;
    });
    const before = await drawn();
    await page.evaluate(() => seen(".part.scope button").find((one) => one.textContent === "Spectrum").focus());
    await page.keyboard.press("Enter");
    const from = Date.now();
    while (await drawn() === before) hold(Date.now() - from < 20_000, "its screen stays as it was");
    await page.keyboard.press("Enter");
  });
  await did("opens a lesson", async () => {
    await press("[data-do=leave]", "Enter");
    await press("[data-mode=learn]", "Enter");
    await press("[data-lesson=tracking-and-guide]", "Enter");
    await until(() => seen("[data-lesson=tracking-and-guide][aria-current=true]").length > 0);
    await press("[data-do=begin]", "Enter");
    await until(() => seen(".seed").some((one) => one.textContent.includes("Variation")));
    return page.evaluate(() => seen(".step-title")[0].textContent);
  });
  await shoot("lesson");
  await did("opens the records and makes a learner", async () => {
    await press("[data-do=leave]", "Enter");
    await until(() => everywhere(".part.learner").every((one) => one.dataset.storage !== "opening"));
    await press("details.records > summary", "Enter");
    await press("[data-do=new]", "Enter");
    await until(() => seen("#learner-name").length > 0);
    await page.evaluate(() => seen("#learner-name")[0].focus());
    await page.keyboard.type("Robin Vale");
    // Keys reach the page in their own time.
    await until(() => seen("#learner-name")[0].value === "Robin Vale");
    await press("[data-do=name_done]", "Enter");
    await until(() => seen("details.records > summary").some((one) => one.textContent.includes("Robin Vale")));
    await until(() => everywhere(".part.learner")[0].dataset.storage !== "opening");
    return page.evaluate(() => everywhere(".part.learner")[0].dataset.storage);
  });
  await shoot("records");
  await did("goes narrow and dark", async () => {
    await page.evaluate(() => {
      const theme = document.getElementById("theme");
      theme.value = "dark";
      theme.dispatchEvent(new Event("change"));
    });
    await page.setViewport({ width: 360, height: 740 });
    await until(() => innerWidth < 400);
    await new Promise((done) => setTimeout(done, 700));
    await shoot("narrow");
    const over = await page.evaluate(() => document.scrollingElement.scrollWidth - innerWidth);
    hold(over <= 0, `the page is ${over} CSS px too wide`);
    await page.setViewport({ width: 1400, height: 900 });
  });
  await did("comes again, with what was kept", async () => {
    await page.reload();
    await until(() => document.body.dataset.state !== "loading");
    await until(() => everywhere("details.records > summary").some((one) => one.textContent.includes("Robin Vale")));
    await until(() => document.getElementById("copy-state").textContent !== "");
    hold(await page.evaluate(() => document.documentElement.dataset.theme) === "dark", "the colours are not as they were chosen");
    return page.evaluate(() => document.getElementById("copy-state").textContent);
  });
  await shoot("again");
  hold(await page.evaluate(() => document.getElementById("trouble").hidden), "the page tells of trouble");
} catch (error) {
  complain(`${step}: ${error.message}`);
  await shoot("failed").catch(() => {});
} finally {
  await browser.close();
}
console.log(complaints.length === 0 ? "Firefox: everything as it should be." : `Firefox: ${complaints.length} complaints.`);
process.exit(complaints.length === 0 ? 0 : 1);
