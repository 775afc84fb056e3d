// Which revision is in the car and when it was flashed: a person says it before each drive. Nothing is taken for said.

import { h } from "../dom.js";
import { t } from "../words.js";

export class InCar {
  /** @param {{revision: number, date: string | null} | null} said what was said of this recipe's revision last */
  constructor(said) {
    this.revision = h("input", { type: "text", inputmode: "numeric", maxlength: 4, autocomplete: "off", value: said ? String(said.revision) : "" });
    this.day = h("input", { type: "date", value: said?.date ?? "" });
    this.container = h("div", { class: "in-car" }, h("label", {}, t("in_car.revision"), this.revision), h("label", {}, t("in_car.day"), this.day));
  }

  /** What was said, as parameters of the next screens; nothing where nobody said a revision. */
  params() {
    const revision = this.revision.value.trim();
    if (!/^\d{1,4}$/.test(revision)) return "";
    return `&flashed=${revision}${this.day.value ? `&day=${this.day.value}` : ""}`;
  }
}
