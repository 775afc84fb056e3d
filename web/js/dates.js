// Days and hours as people here write them: in the page's language, by the phone's own region where that speaks it.

/** English in Ireland and not just English, so that a day is written as it is there. */
export function region() {
  const { lang } = document.documentElement;
  return navigator.languages.find((one) => one.toLowerCase().split("-")[0] === lang) ?? lang;
}

/** A day and an hour. @param {string | number | Date} at */
export function when(at) {
  return new Date(at).toLocaleString(region(), { dateStyle: "medium", timeStyle: "short" });
}
