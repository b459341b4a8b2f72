// @ts-check
/**
 * Sound and vibration for alarms. Browsers want a tap first, so it is armed by one; on plain
 * http there is no other way for a page to be heard. Once armed it goes along from screen to
 * screen: browsers that want a tap on each get it from the first thing that is tapped there.
 */

const EVERY_MS = 4000;
/** @type {AudioContext|null} */
let audio = null;
let ringing = 0;

/** Offer the arming and ring while an alarm waits for a hand. */
export function bell() {
  document.addEventListener("click", (event) => {
    if (event.target instanceof Element && event.target.closest("[data-arm]")) (audio ? disarm() : arm()).catch(() => say("This browser makes no sound."));
  });
  document.addEventListener("pit:swapped", ring);
  document.addEventListener("submit", (event) => {
    if (event.target instanceof HTMLFormElement && event.target.action.endsWith("/do/ring")) { beep(1.5); navigator.vibrate?.([400, 200, 400]); }
  });
  if (sessionStorage.getItem("armed") === "yes") goOn();
  show();
  ring();
}

/** Be armed as on the screen before; sound comes with the first tap where the browser wants one. */
function goOn() {
  audio = new AudioContext();
  audio.onstatechange = () => { show(); ring(); };
  for (const kind of ["pointerdown", "keydown"]) document.addEventListener(kind, () => audio?.resume(), { once: true });
}

async function arm() {
  audio = new AudioContext();
  await audio.resume();
  sessionStorage.setItem("armed", "yes");
  beep(0.15);
  show();
  ring();
}

async function disarm() {
  await audio?.close();
  audio = null;
  sessionStorage.removeItem("armed");
  clearInterval(ringing);
  show();
}

function show() {
  for (const button of document.querySelectorAll("[data-arm]")) button.textContent = audio ? "Silence this phone" : "Arm sound on this phone";
  if (!audio) say("Not armed: this phone makes no sound.");
  else if (audio.state === "running") say("Armed: this phone sounds while an alarm waits, as long as this page stays open.");
  else say("Armed; this browser wants one tap on this screen before it sounds.");
}

/** @param {string} text */
function say(text) {
  for (const line of document.querySelectorAll("[data-armed]")) line.textContent = text;
}

/** Sound as long as an alarm waits; acknowledging it stops the noise. */
function ring() {
  clearInterval(ringing);
  if (!audio || !document.querySelector("#strip .waits")) return;
  const sound = () => { beep(0.6); navigator.vibrate?.([300, 150, 300]); };
  sound();
  ringing = setInterval(sound, EVERY_MS);
}

/** @param {number} seconds */
function beep(seconds) {
  if (!audio) return;
  const tone = audio.createOscillator(), volume = audio.createGain();
  tone.type = "square";
  tone.frequency.value = 880;
  volume.gain.value = 0.3;
  tone.connect(volume).connect(audio.destination);
  tone.start();
  tone.stop(audio.currentTime + seconds);
}
