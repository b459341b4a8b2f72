// @ts-check
/** What a whole page was refused for is told at its field, as a refusal that came without one is. */
import { refuse } from "./outcome.mjs";

/** Move what is told to the field that it names. */
export function atFault() {
  const line = /** @type {HTMLElement} */ (document.querySelector("[data-at-fault]"));
  const field = document.querySelector(`main [name="${CSS.escape(line.dataset.atFault ?? "")}"]`);
  const form = field?.closest("form");
  if (!form) return;
  refuse(form, line.textContent ?? "", line.dataset.atFault ?? "");
  line.remove();
}
