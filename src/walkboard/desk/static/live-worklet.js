// Hands on what the microphone gives, as it is, in blocks of 960 samples: 20 ms at 48 kHz.
class Handing extends AudioWorkletProcessor {
  #block = new Float32Array(960);
  #filled = 0;

  process([input]) {
    const channel = input[0];
    if (!channel) return true;
    for (const sample of channel) {
      this.#block[this.#filled++] = sample;
      if (this.#filled === this.#block.length) {
        this.port.postMessage(this.#block, [this.#block.buffer]);
        this.#block = new Float32Array(960);
        this.#filled = 0;
      }
    }
    return true;
  }
}
registerProcessor("handing", Handing);
