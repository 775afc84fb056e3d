// One live stream for all tabs of a browser: whoever holds a lock leads and hears the server, and tells the others.
// Where the browser has no locks (plain http to another machine) every page that is seen leads for itself.

const NAME = "coach-live";

/** @typedef {{name: string, id: string, data: string, late: boolean}} Heard one event of the stream; `id` may be empty */

export class Shared {
  /**
   * @param {object} doing
   * @param {(leads: boolean) => void} doing.lead this page hears the server itself from now on, or no longer
   * @param {(heard: Heard) => void} doing.hear another page has heard something
   */
  constructor({ lead, hear }) {
    this.lead = lead;
    this.alone = !navigator.locks || !("BroadcastChannel" in globalThis);
    this.channel = this.alone ? null : new BroadcastChannel(NAME);
    this.channel?.addEventListener("message", ({ data }) => hear(data));
    /** @type {AbortController | null} */
    this.place = null;
  }

  /**
   * Takes a place in the queue of those who would lead.
   * @param {boolean} [first] takes the lead at once: somebody looks at this page now, and it knows where it left off
   */
  join(first = false) {
    if (this.place && !first) return;
    this.leave();
    const place = (this.place = new AbortController());
    if (this.alone) {
      this.lead(true);
      return;
    }
    const lost = (/** @type {unknown} */ error) => {
      if (this.place !== place) return;
      this.place = null;
      this.lead(false);
      // Taken by a page that somebody looks at now: back into the queue. Anything else: no locks here after all.
      this.alone = !(error instanceof DOMException && error.name === "AbortError");
      this.join();
    };
    navigator.locks.request(NAME, first ? { steal: true } : { signal: place.signal }, () => {
      if (place.signal.aborted) return undefined;
      this.lead(true);
      return new Promise((release) => place.signal.addEventListener("abort", release));
    }).catch(lost);
  }

  /** Leads no longer, and does not ask to. */
  leave() {
    const place = this.place;
    this.place = null;
    if (!place) return;
    this.lead(false);
    place.abort();
  }

  /** Tells the other pages. @param {Heard} heard */
  tell(heard) {
    this.channel?.postMessage(heard);
  }
}
