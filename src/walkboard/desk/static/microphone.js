// The browser's own microphone, with whatever it would do to the sound switched off.
export class Microphone {
  static isPossible() { return Boolean(navigator.mediaDevices?.getUserMedia && window.AudioWorkletNode); }

  // Asks for it; `isFiltered` says that the browser changes the sound all the same.
  static async open() {
    const asked = { echoCancellation: false, noiseSuppression: false, autoGainControl: false, channelCount: 1 };
    const microphone = new Microphone();
    microphone.stream = await navigator.mediaDevices.getUserMedia({ audio: asked });
    try {
      microphone.context = new AudioContext();
      await microphone.context.audioWorklet.addModule("/static/microphone-worklet.js");
    } catch (error) {
      microphone.close();
      throw error;
    }
    const got = microphone.stream.getAudioTracks()[0].getSettings();
    microphone.isFiltered = Boolean(got.echoCancellation || got.noiseSuppression || got.autoGainControl);
    return microphone;
  }

  get rate() { return this.context.sampleRate; }

  // Hands over blocks of so many samples from now on.
  hand(frames, take) {
    const node = new AudioWorkletNode(this.context, "handing", { numberOfOutputs: 0, processorOptions: { frames } });
    node.port.onmessage = ({ data }) => take(data);
    this.context.createMediaStreamSource(this.stream).connect(node);
  }

  close() {
    for (const track of this.stream.getTracks()) track.stop();
    this.context?.close();
  }
}
