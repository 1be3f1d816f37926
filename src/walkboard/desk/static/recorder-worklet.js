// Hands on what the microphone gives, as it is, in blocks of 4096 samples.
class Recorder extends AudioWorkletProcessor {
  #block = new Float32Array(4096);
  #filled = 0;

  process([input]) {
    const channel = input[0];
    if (!channel) return true;
    for (const sample of channel) {
      this.#block[this.#filled++] = sample;
      if (this.#filled === this.#block.length) {
        this.port.postMessage(this.#block, [this.#block.buffer]);
        this.#block = new Float32Array(4096);
        this.#filled = 0;
      }
    }
    return true;
  }
}
registerProcessor("recorder", Recorder);
