// The voice: on-device voices only, in the page's language. Says whether there is one; never talks over itself.

/** Voices may come late; after so long without one there is none. */
const PATIENCE_MS = 2500;

export class Voice {
  /**
   * @param {(state: "on" | "none") => void} told called when it is known whether there is a voice
   * @param {() => void} ended called when an utterance has ended by itself
   */
  constructor(told, ended) {
    this.told = told;
    this.ended = ended;
    this.synth = "speechSynthesis" in globalThis ? globalThis.speechSynthesis : null;
    /** @type {SpeechSynthesisVoice | null} */
    this.voice = null;
    /** @type {SpeechSynthesisUtterance | null} kept, because some browsers drop one that nobody holds */
    this.saying = null;
    this.volume = 1;
    if (!this.synth) told("none");
    else {
      this.#look();
      this.synth.addEventListener?.("voiceschanged", () => this.#look());
      setTimeout(() => this.voice || told("none"), PATIENCE_MS);
    }
  }

  #look() {
    const wanted = document.documentElement.lang.slice(0, 2).toLowerCase();
    // A voice from the network would send what is said away, and falls silent where there is no internet.
    const own = (this.synth?.getVoices() ?? []).filter((voice) => voice.localService && voice.lang.toLowerCase().startsWith(wanted));
    this.voice = own.find((voice) => voice.default) ?? own[0] ?? null;
    if (this.voice) this.told("on");
  }

  /**
   * Says it, after what is being said.
   * @param {string} text
   */
  say(text) {
    if (!this.synth || !this.voice) return false;
    const one = new SpeechSynthesisUtterance(text);
    one.voice = this.voice;
    one.lang = this.voice.lang;
    one.volume = this.volume;
    const over = () => {
      if (this.saying !== one) return;
      this.saying = null;
      this.ended();
    };
    one.onend = over;
    one.onerror = over;
    this.saying = one;
    this.synth.speak(one);
    return true;
  }

  /** Stops at once; nobody is told that it ended. */
  hush() {
    this.saying = null;
    this.synth?.cancel();
  }
}
