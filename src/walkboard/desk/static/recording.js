// Records a microphone at this machine, unfiltered, as WAV of 24 bit.
import { Microphone } from "./microphone.js";

const LOUDEST = 2 ** 23 - 1;
const BLOCK_FRAMES = 4096;

export class Recording {
  #blocks = [];
  #frames = 0;
  #peak = 0;

  static isPossible() { return Microphone.isPossible(); }

  // Begins at once; `isFiltered` says that the browser changes the sound all the same.
  async start() {
    this.microphone = await Microphone.open();
    this.microphone.hand(BLOCK_FRAMES, (block) => this.#take(block));
    this.isFiltered = this.microphone.isFiltered;
  }

  get seconds() { return this.microphone ? this.#frames / this.microphone.rate : 0; }

  // The highest level since it was last asked [dB of full scale].
  takePeakDb() {
    const peak = this.#peak;
    this.#peak = 0;
    return 20 * Math.log10(Math.max(peak, 1e-6));
  }

  // Ends it and gives the file.
  finish(name) {
    const rate = this.microphone.rate;
    this.microphone.close();
    return new File([header(rate, this.#frames), ...this.#blocks], name, { type: "audio/wav" });
  }

  drop() { this.microphone.close(); this.#blocks = []; }

  #take(block) {
    const bytes = new Uint8Array(3 * block.length);
    block.forEach((sample, n) => {
      this.#peak = Math.max(this.#peak, Math.abs(sample));
      const value = Math.round(Math.min(1, Math.max(-1, sample)) * LOUDEST);
      bytes[3 * n] = value & 255;
      bytes[3 * n + 1] = (value >> 8) & 255;
      bytes[3 * n + 2] = (value >> 16) & 255;
    });
    this.#blocks.push(bytes);
    this.#frames += block.length;
  }
}

// RIFF/WAVE, PCM, one channel, 24 bit (Multimedia Programming Interface 1.0, 1991).
function header(rate, frames) {
  const view = new DataView(new ArrayBuffer(44));
  const text = (at, letters) => [...letters].forEach((c, n) => view.setUint8(at + n, c.charCodeAt(0)));
  text(0, "RIFF"); view.setUint32(4, 36 + 3 * frames, true); text(8, "WAVEfmt ");
  view.setUint32(16, 16, true); view.setUint16(20, 1, true); view.setUint16(22, 1, true);
  view.setUint32(24, rate, true); view.setUint32(28, 3 * rate, true);
  view.setUint16(32, 3, true); view.setUint16(34, 24, true);
  text(36, "data"); view.setUint32(40, 3 * frames, true);
  return view.buffer;
}
