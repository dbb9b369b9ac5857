// Plays the sound in step with the cursor: seek anywhere, slower without another pitch, parts of it alone.

export class Player {
  constructor(audio, changed) {
    this.audio = audio;
    this.changed = changed;
    this.base = audio.dataset.src;
    this.only = "";
    this.speed = 1;
    this.at = 0;
    audio.preservesPitch = true;
    for (const name of ["play", "pause", "ended", "seeked", "error", "waiting", "playing"]) audio.addEventListener(name, () => this.changed(name));
    audio.addEventListener("loadedmetadata", () => {
      if (Math.abs(audio.currentTime - this.at) > 0.001) audio.currentTime = this.at;
      this.audio.playbackRate = this.speed;
    });
  }

  get playing() {
    return !this.audio.paused && !this.audio.ended;
  }

  get now() {
    return this.playing ? this.audio.currentTime : this.at;
  }

  seek(second) {
    this.at = second;
    if (this.audio.readyState > 0) this.audio.currentTime = second;
  }

  async play() {
    if (this.audio.ended || this.at >= this.audio.duration - 0.05) this.seek(0);
    this.audio.playbackRate = this.speed;
    await this.audio.play().catch(() => {});
  }

  pause() {
    this.at = this.audio.currentTime;
    this.audio.pause();
  }

  toggle() {
    return this.playing ? this.pause() : this.play();
  }

  slow(speed) {
    this.speed = speed;
    this.audio.defaultPlaybackRate = this.audio.playbackRate = speed;
  }

  // All, what is left without the teeth, or the stray tones: other sounds with the same clock.
  listen(only) {
    if (only === this.only) return;
    const went = this.playing;
    this.at = this.now;
    this.only = only;
    this.audio.src = only ? `${this.base}?only=${only}` : this.base;
    this.audio.load();
    if (went) this.play();
    else this.changed("chosen");
  }
}
