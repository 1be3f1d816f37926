// Hands on what the microphone gives, as it is, in blocks of so many samples.
class Handing extends AudioWorkletProcessor {
  #block;
  #filled = 0;

  constructor({ processorOptions }) {
    super();
    this.#block = new Float32Array(processorOptions.frames);
  }

  process([input]) {
    const channel = input[0];
    if (!channel) return true;
    for (const sample of channel) {
      this.#block[this.#filled++] = sample;
      if (this.#filled === this.#block.length) {
        const full = this.#block;
        this.#block = new Float32Array(full.length);
        this.#filled = 0;
        this.port.postMessage(full, [full.buffer]);
      }
    }
    return true;
  }
}
registerProcessor("handing", Handing);
