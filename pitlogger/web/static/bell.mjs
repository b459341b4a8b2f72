// @ts-check
/**
 * Sound and vibration for alarms, with the page hidden too. A tap starts an audio stream that
 * never ends: most of it is silence, and a browser lets a page that plays go on in the
 * background. The alarm is a loop on the audio clock, so no timer has to fire for it to sound.
 * What a phone is promised is only what its own trial with the screen locked has shown.
 */

const LOOP_S = 4;
const TRIAL_AFTER_S = 15;
const TRIAL_FOR_S = 12;
/** @type {AudioContext|null} */
let audio = null;
/** @type {GainNode|null} */
let alarm = null;
/** @type {{release: () => Promise<void>}|null} */
let awake = null;
let isLost = false;
let trial = { from: 0, wasHidden: false };
let buzzing = 0;

/** Offer the arming and sound while an alarm waits for a hand or the link is dead. @param {boolean} tapped whether it is armed at once */
export async function bell(tapped = false) {
  document.addEventListener("click", (event) => {
    const on = event.target instanceof Element ? event.target : null;
    if (on?.closest("[data-arm]")) { event.preventDefault(); (audio ? disarm() : arm()).catch(() => say(tr("This browser makes no sound."))); }
    if (on?.closest("[data-trial]")) tryOut();
    const answer = on?.closest("[data-trial-answer]")?.getAttribute("data-trial-answer");
    if (answer) answered(answer);
  });
  for (const kind of ["pit:swapped", "pit:figures", "pit:alert"]) document.addEventListener(kind, ring);
  document.addEventListener("pit:lost", () => { isLost = true; ring(); });
  document.addEventListener("pit:found", () => { isLost = false; ring(); });
  document.addEventListener("visibilitychange", () => {
    if (document.hidden) trial.wasHidden ||= Boolean(trial.from);
    else { hold(); show(); }
  });
  document.addEventListener("submit", (event) => {
    if (event.target instanceof HTMLFormElement && event.target.action.endsWith("/do/ring")) sound(1.5);
  });
  if (tapped) await arm();
  else if (sessionStorage.getItem("armed") === "yes") goOn();
  show();
  ring();
}

/** The endless stream: a loop of two tones and a pause, silent until its gain is opened. */
function start() {
  audio = new AudioContext();
  audio.onstatechange = () => { show(); ring(); };
  const rate = audio.sampleRate, buffer = audio.createBuffer(1, rate * LOOP_S, rate), data = buffer.getChannelData(0);
  for (let at = 0; at < rate * 1.2; at++) data[at] = (at % rate < rate * 0.5 ? 0.35 : 0) * Math.sign(Math.sin((2 * Math.PI * (at < rate * 0.6 ? 880 : 660) * at) / rate));
  const loop = audio.createBufferSource();
  loop.buffer = buffer;
  loop.loop = true;
  alarm = audio.createGain();
  alarm.gain.value = 0;
  loop.connect(alarm).connect(audio.destination);
  loop.start();
  // Far below hearing, yet not silence: a page that plays nothing is put to sleep.
  const hum = audio.createOscillator(), low = audio.createGain();
  hum.frequency.value = 30;
  low.gain.value = 0.002;
  hum.connect(low).connect(audio.destination);
  hum.start();
  document.documentElement.setAttribute("data-armed", "");
}

/** Be armed as on the screen before; sound comes with the first tap where the browser wants one. */
function goOn() {
  start();
  for (const kind of ["pointerdown", "keydown"]) document.addEventListener(kind, () => { audio?.resume(); hold(); }, { once: true });
}

async function arm() {
  start();
  await audio?.resume();
  sessionStorage.setItem("armed", "yes");
  sound(0.4);
  hold();
  if (isSecureContext && "Notification" in globalThis && Notification.permission === "default") Notification.requestPermission().catch(() => {});
  show();
  ring();
}

async function disarm() {
  await audio?.close();
  await awake?.release().catch(() => {});
  audio = alarm = awake = null;
  clearInterval(buzzing);
  sessionStorage.removeItem("armed");
  document.documentElement.removeAttribute("data-armed");
  delete document.documentElement.dataset.ringing;
  show();
}

/** Keep the screen on where the browser allows it: over https alone. */
function hold() {
  if (!audio || !isSecureContext || document.hidden) return;
  // @ts-ignore not in every browser
  navigator.wakeLock?.request("screen").then((lock) => { awake = lock; show(); }).catch(() => {});
}

/** Sound as long as something waits; acknowledging it stops the noise. */
function ring() {
  const waits = isLost || document.querySelector("#strip .waits") !== null;
  if (!audio || !alarm) return;
  const is = document.documentElement.dataset.ringing === "yes";
  alarm.gain.value = waits ? 1 : 0;
  if (waits === is) return;
  document.documentElement.dataset.ringing = waits ? "yes" : "no";
  clearInterval(buzzing);
  if (!waits) return;
  const buzz = () => navigator.vibrate?.([300, 150, 300]);
  buzz();
  buzzing = setInterval(buzz, LOOP_S * 1000);
  notify();
}

function notify() {
  if (!document.hidden || !isSecureContext || !("Notification" in globalThis) || Notification.permission !== "granted") return;
  const text = isLost ? tr("No word from the pit. Go and look.") : document.querySelector("#strip .waits")?.textContent?.trim() ?? tr("An alarm waits");
  try { new Notification(document.title, { body: text, tag: "pitlogger", requireInteraction: true }); } catch { /* this browser wants a service worker for it */ }
}

/** @param {number} seconds @param {number} [after] */
function sound(seconds, after = 0) {
  if (!audio) return;
  const tone = audio.createOscillator(), volume = audio.createGain();
  tone.type = "square";
  tone.frequency.value = 880;
  volume.gain.value = 0.3;
  tone.connect(volume).connect(audio.destination);
  tone.start(audio.currentTime + after);
  tone.stop(audio.currentTime + after + seconds);
}

/** Sound in a while, so that the phone can be locked first. */
function tryOut() {
  trial = { from: performance.now(), wasHidden: false };
  for (let at = 0; at < TRIAL_FOR_S; at += 2) sound(1, TRIAL_AFTER_S + at);
  show();
  setTimeout(show, (TRIAL_AFTER_S + 1) * 1000);
}

/** @param {string} answer */
function answered(answer) {
  localStorage.setItem("trial", JSON.stringify({ heard: answer === "yes" && trial.wasHidden, locked: trial.wasHidden, at: document.getElementById("now")?.textContent ?? "" }));
  trial = { from: 0, wasHidden: false };
  show();
}

function show() {
  for (const button of document.querySelectorAll("[data-arm]")) {
    button.textContent = button.hasAttribute("data-short") ? (audio ? tr("Sound on") : tr("Sound off")) : audio ? tr("Silence this phone") : tr("Arm sound on this phone");
    button.setAttribute("aria-pressed", String(Boolean(audio)));
  }
  for (const part of document.querySelectorAll("[data-trial]")) part.toggleAttribute("hidden", !audio || Boolean(trial.from));
  for (const part of document.querySelectorAll("[data-trial-ask]")) part.toggleAttribute("hidden", !trial.from || performance.now() - trial.from < TRIAL_AFTER_S * 1000);
  say(promise());
}

/** What this phone will and will not do tonight, in words. */
function promise() {
  if (!audio) return tr("Not armed: this phone makes no sound.");
  if (audio.state !== "running") return tr("Armed; this browser wants one tap on this screen before it sounds.");
  if (trial.from) return tr(`Lock the phone now. It sounds in ${TRIAL_AFTER_S} s, for ${TRIAL_FOR_S} s.`);
  const on = awake ? tr("This page keeps the screen on.") : tr("Keep the screen on: this page cannot (it is not served over https).");
  const kept = JSON.parse(localStorage.getItem("trial") ?? "null");
  const locked = kept === null ? tr("With the screen locked: not tried on this phone.")
    : kept.heard ? tr(`With the screen locked: heard in the trial at ${kept.at}.`)
    : kept.locked ? tr(`With the screen locked: it did NOT sound in the trial at ${kept.at}. Do not count on it.`)
    : tr("The trial was made with the screen on: locked is not tried.");
  return tr(`Armed: this phone sounds while an alarm waits, as long as this page stays open. ${on} ${locked}`);
}

/** @param {string} text */
function say(text) {
  for (const line of document.querySelectorAll("[data-armed-words]")) if (line.textContent !== text) line.textContent = text;
}
