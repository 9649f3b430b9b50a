// Sound from the worker to the loudspeakers, and a spoken note from the microphone to the worker.
//
// The part "sound" (bench/sound.mjs) asks by events on the document; what happened is told by events too, in words of
// a code, for that part to show.

// Sound is played this much later than it comes, so that a block that is late leaves no gap.
const LEAD_S = 0.2;
// More than this waiting is old sound: it is left out.
const MOST_WAITING_S = 1;
// Reference level stands this far below full scale, as room for peaks (a choice of this page).
const REFERENCE_GAIN = 0.2;
const RATE_HZ = 32000;
const MOST_NOTE_S = 20;

const tell = (name, detail) => document.dispatchEvent(new CustomEvent(`bandbench:${name}`, { detail }));

// Loudspeakers ------------------------------------------------------------------------------------------------

let room = null;
// For the tests: how much was handed to the loudspeakers, how often there was a gap, and the loudest sample.
export const heard = { blocks: 0, seconds: 0, gaps: 0, peak: 0 };

function open() {
  // At the rate of the blocks: none has to be stretched, so none clicks against its neighbour.
  const context = new AudioContext({ sampleRate: RATE_HZ });
  const volume = new GainNode(context, { gain: 0 });
  volume.connect(context.destination);
  return { context, volume, next: 0 };
}

// Called from within a press of the button: browsers let a page sound only then.
async function listen({ on, volume }) {
  if (!on) {
    await room?.context.suspend();
    if (room !== null) room.next = 0;
    tell("listening", { on: false });
    return;
  }
  try {
    room ??= open();
    room.volume.gain.value = volume * REFERENCE_GAIN;
    await room.context.resume();
    tell("listening", { on: true });
  } catch (error) {
    console.info(`No sound output: ${error}`);
    room = null;
    tell("listening", { on: false, why: "no_output" });
  }
}

export function playSound({ rate, data }) {
  if (room === null || room.context.state !== "running") return;
  const samples = new Float32Array(data);
  const { context, volume } = room;
  const now = context.currentTime;
  if (room.next < now) {
    if (room.next > 0) heard.gaps += 1;
    room.next = now + LEAD_S;
  }
  if (room.next > now + MOST_WAITING_S) return;
  const block = new AudioBuffer({ length: samples.length, sampleRate: rate, numberOfChannels: 1 });
  block.copyToChannel(samples, 0);
  const source = new AudioBufferSourceNode(context, { buffer: block });
  source.connect(volume);
  // On a whole sample, so that the next block begins exactly behind this one.
  const at = Math.round(room.next * rate) / rate;
  source.start(at);
  room.next = at + samples.length / rate;
  heard.blocks += 1;
  heard.seconds += samples.length / rate;
  for (const sample of samples) heard.peak = Math.max(heard.peak, Math.abs(sample));
}

// Microphone ----------------------------------------------------------------------------------------------------

let recording = null;

// Why there is no note, as a code that the part has words for.
function reason(error) {
  if (!globalThis.isSecureContext || navigator.mediaDevices === undefined) return "insecure";
  if (typeof MediaRecorder === "undefined") return "unsupported";
  switch (error?.name) {
    case "NotAllowedError":
    case "SecurityError": return "denied";
    case "NotFoundError":
    case "OverconstrainedError": return "missing";
    case "NotReadableError":
    case "AbortError": return "busy";
    default: return "failed";
  }
}

// The browser's own decoder brings the note to the rate of the tape.
async function decoded(pieces, type) {
  const bytes = await new Blob(pieces, { type }).arrayBuffer();
  const buffer = await new OfflineAudioContext(1, 1, RATE_HZ).decodeAudioData(bytes);
  const samples = new Float32Array(Math.min(buffer.length, MOST_NOTE_S * RATE_HZ));
  for (let channel = 0; channel < buffer.numberOfChannels; channel += 1) {
    const one = buffer.getChannelData(channel);
    for (let i = 0; i < samples.length; i += 1) samples[i] += one[i] / buffer.numberOfChannels;
  }
  return samples;
}

async function record(send) {
  if (recording !== null) return;
  recording = { stop: () => { recording.wanted = false; }, wanted: true };
  const mine = recording;
  let stream = null;
  try {
    tell("note", { state: "asking" });
    stream = await navigator.mediaDevices.getUserMedia({ audio: true });
    if (!mine.wanted) {
      tell("note", { state: "dropped" });
      return;
    }
    const recorder = new MediaRecorder(stream);
    const pieces = [];
    recorder.addEventListener("dataavailable", ({ data }) => pieces.push(data));
    const over = new Promise((resolve, reject) => {
      recorder.addEventListener("stop", resolve);
      recorder.addEventListener("error", ({ error }) => reject(error));
    });
    mine.stop = () => { if (recorder.state !== "inactive") recorder.stop(); };
    recorder.start();
    const limit = setTimeout(mine.stop, MOST_NOTE_S * 1000);
    tell("note", { state: "recording" });
    await over;
    clearTimeout(limit);
    const samples = await decoded(pieces, recorder.mimeType);
    send({ type: "microphone", data: samples.buffer }, [samples.buffer]);
    tell("note", { state: "sent" });
  } catch (error) {
    console.info(`No note: ${error?.name}: ${error?.message}`);
    tell("note", { state: "refused", why: reason(error) });
  } finally {
    // The browser's sign that the microphone is on goes out at once.
    for (const track of stream?.getTracks() ?? []) track.stop();
    recording = null;
  }
}

// The worker was started anew and plays to nobody: it is asked again by who wants to listen.
export function soundAgain() {
  recording?.stop();
  listen({ on: false });
}

export function acceptSound(send) {
  document.addEventListener("bandbench:listen", ({ detail }) => listen(detail));
  document.addEventListener("bandbench:volume", ({ detail }) => {
    if (room !== null) room.volume.gain.value = detail.volume * REFERENCE_GAIN;
  });
  document.addEventListener("bandbench:record-note", () => record(send));
  document.addEventListener("bandbench:stop-note", () => recording?.stop());
}
