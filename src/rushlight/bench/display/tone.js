// Soft tones, for those who look elsewhere while something is held.

let audio = null;

/** A tone of some hertz that fades within some seconds. */
export function tone(hertz, seconds) {
  audio ??= new AudioContext();
  const source = audio.createOscillator(), loud = audio.createGain(), now = audio.currentTime;
  source.frequency.value = hertz;
  loud.gain.setValueAtTime(0.12, now);
  loud.gain.exponentialRampToValueAtTime(0.001, now + seconds);
  source.connect(loud).connect(audio.destination);
  source.start(now);
  source.stop(now + seconds);
}
