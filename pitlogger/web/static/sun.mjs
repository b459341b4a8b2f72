// @ts-check
/** Sun: black on white and heavier, for a bright day; a choice of this phone. */

export function sun() {
  const button = document.querySelector("[data-sun]");
  const show = () => button?.setAttribute("aria-pressed", String(document.documentElement.classList.contains("sun")));
  button?.addEventListener("click", () => {
    const isOn = document.documentElement.classList.toggle("sun");
    localStorage.setItem("sun", isOn ? "yes" : "no");
    show();
  });
  show();
}
