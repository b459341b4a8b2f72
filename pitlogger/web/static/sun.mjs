// @ts-check
/** Sun: black on white and heavier, for a bright day; a choice of this phone. */

/** Put the sun's colours on or off. @param {boolean} isOn */
export function shine(isOn) {
  document.documentElement.classList.toggle("sun", isOn);
  if (!isOn || document.querySelector("link[data-sunny]")) return;
  const link = document.createElement("link");
  Object.assign(link, { rel: "stylesheet", href: new URL("sun.css", import.meta.url).href });
  link.dataset.sunny = "";
  document.head.append(link);
}

export function sun() {
  const button = document.querySelector("[data-sun]");
  const show = () => button?.setAttribute("aria-pressed", String(document.documentElement.classList.contains("sun")));
  button?.addEventListener("click", () => {
    const isOn = !document.documentElement.classList.contains("sun");
    localStorage.setItem("sun", isOn ? "yes" : "no");
    shine(isOn);
    show();
  });
  show();
}
