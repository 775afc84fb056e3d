// Sets the light before the first paint, so that night never flashes white. No module: it must run at once.
"use strict";
(() => {
  const dark = matchMedia("(prefers-color-scheme: dark)");
  const more = matchMedia("(prefers-contrast: more)");
  const asked = new URLSearchParams(location.search).get("light");
  const chosen = () => {
    try {
      return asked || localStorage.getItem("light");
    } catch {
      return asked; // storage may be shut; the system's setting stands then
    }
  };
  const set = () => {
    const usual = more.matches ? (dark.matches ? "contrast-night" : "contrast") : dark.matches ? "night" : "day";
    document.documentElement.dataset.light = chosen() || usual;
  };
  set();
  dark.addEventListener("change", set);
  more.addEventListener("change", set);
})();
