// @ts-check
/** Sun: black on white and heavier, for a bright day; a choice of this phone. */

/** Put the sun's colours on or off. @param {boolean} isOn */
export function shine(isOn) {
  document.documentElement.classList.toggle("sun", isOn);
  const page = /** @type {HTMLLinkElement|null} */ (document.querySelector("link[rel=stylesheet]"));
  if (!isOn || !page || document.querySelector("link[data-sunny]")) return;
  const link = document.createElement("link");
  Object.assign(link, { rel: "stylesheet", href: page.href.replace("page.css", "sun.css") });
  link.dataset.sunny = "";
  page.after(link);
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
