// What stands in the way of a drive, handed on in words: to another app where the phone can, else copied.

import { h, say } from "../dom.js";
import { t } from "../words.js";

/** @returns {{container: HTMLElement, update: (lines: string[], heading: string) => void}} hidden while there is nothing to tell */
export function telling() {
  let text = "";
  const said = h("p", { class: "mini", role: "status" });
  const tell = async () => {
    try {
      if ("share" in navigator) await navigator.share({ text });
      else await navigator.clipboard.writeText(text);
      say(said, "share" in navigator ? "" : t("ready.copied"));
    } catch (error) {
      // Closing the list of apps is no failure.
      if (!(error instanceof DOMException && error.name === "AbortError")) say(said, t("ready.not_handed"));
    }
  };
  const container = h("div", { class: "telling", hidden: true }, h("button", { class: "act wide", type: "button", onclick: tell }, t("ready.tell")), said);
  return {
    container,
    update(lines, heading) {
      text = [heading, ...lines].join("\n");
      // A page over plain http can do neither.
      container.hidden = !lines.length || !("share" in navigator || navigator.clipboard);
      if (!lines.length) say(said, "");
    },
  };
}
