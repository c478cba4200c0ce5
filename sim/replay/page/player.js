/* The replay in the page: chooses trials, keeps time, draws, and shows the margin as a number and a bar. */
"use strict";

class Player {
  constructor(root, data) {
    this.root = root;
    this.data = data;
    this.find = (name) => root.querySelector(`[data-part="${name}"]`);
    this.grounds = new Map();
    this.trucks = new Map();
    this.motions = new Map();
    this.time = 0;
    this.playing = false;
    this.view = "chase";
    this.full = this.scale = Math.min(2, 1.3 * (window.devicePixelRatio || 1));
    this.turn = { yaw: 0, pitch: 0, near: 1 };
    this.stats = { frames: 0, spent: 0, recent: [] };
    this.stages = ["first", "second"].map((name) => this.stage(name));
    this.bind();
    this.fillPlaces();
    root.hidden = false;
    new ResizeObserver(() => this.draw()).observe(root);
  }

  stage(name) {
    const box = this.find(name), canvas = box.querySelector("canvas");
    return { box, canvas, caption: box.querySelector("[data-part=caption]"), now: box.querySelector("[data-part=margin]"),
      bar: box.querySelector("[data-part=bar]"), word: box.querySelector("[data-part=word]") };
  }

  bind() {
    this.find("play").addEventListener("click", () => (this.playing ? this.pause() : this.play()));
    this.find("time").addEventListener("input", (e) => { this.pause(); this.seek(Number(e.target.value)); });
    this.find("place").addEventListener("change", () => this.fillTrucks());
    for (const name of ["one", "other"]) this.find(name).addEventListener("change", () => this.choose());
    for (const input of this.root.querySelectorAll("input[type=radio]")) {
      input.addEventListener("change", () => { this.turn = { yaw: 0, pitch: 0, near: 1 }; this.draw(); });
    }
    this.root.querySelector("input[name=inside]").addEventListener("change", () => this.draw());
    for (const { canvas } of this.stages) { this.bindDrag(canvas); this.bindKeys(canvas); }
  }

  /* What dragging does, by keys: arrows turn, plus and minus come closer and back off, Home looks as at first. */
  bindKeys(canvas) {
    const by = { ArrowLeft: ["yaw", 0.12], ArrowRight: ["yaw", -0.12], ArrowUp: ["pitch", 0.08], ArrowDown: ["pitch", -0.08] };
    canvas.addEventListener("keydown", (e) => {
      if (by[e.key]) this.turn[by[e.key][0]] += by[e.key][1];
      else if (e.key === "+" || e.key === "=") this.turn.near = Math.max(0.4, this.turn.near / 1.1);
      else if (e.key === "-") this.turn.near = Math.min(2.5, this.turn.near * 1.1);
      else if (e.key === "Home") this.turn = { yaw: 0, pitch: 0, near: 1 };
      else return;
      this.turn.pitch = Math.min(1.3, Math.max(-1.3, this.turn.pitch));
      e.preventDefault();
      this.draw();
    });
  }

  bindDrag(canvas) {
    canvas.addEventListener("pointerdown", (e) => { canvas.setPointerCapture(e.pointerId); this.drag = [e.clientX, e.clientY]; });
    canvas.addEventListener("pointermove", (e) => {
      if (!this.drag) return;
      this.turn.yaw -= 0.008 * (e.clientX - this.drag[0]);
      this.turn.pitch = Math.min(1.3, Math.max(-1.3, this.turn.pitch + 0.006 * (e.clientY - this.drag[1])));
      this.drag = [e.clientX, e.clientY];
      this.draw();
    });
    for (const end of ["pointerup", "pointercancel"]) canvas.addEventListener(end, () => { this.drag = null; });
  }

  fillPlaces() {
    const places = [...new Set(this.data.clips.map((clip) => clip.label))];
    this.options(this.find("place"), places.map((label) => [label, label]));
    this.fillTrucks();
  }

  fillTrucks() {
    const label = this.find("place").value;
    this.here = this.data.clips.filter((clip) => clip.label === label);
    const names = this.here.map((clip, i) => [String(i), clip.name]);
    this.options(this.find("one"), names);
    this.options(this.find("other"), [...names, ["", "none"]]);
    this.find("other").value = this.here.length > 1 ? "1" : "";
    this.choose();
  }

  options(select, pairs) {
    select.replaceChildren(...pairs.map(([value, text]) => new Option(text, value)));
  }

  choose() {
    this.shown = ["one", "other"].map((name) => this.find(name).value).filter((value) => value !== "")
      .map((value) => this.load(this.here[Number(value)]));
    this.end = Math.max(...this.shown.map((s) => s.motion.duration), 0.1);
    const slider = this.find("time");
    slider.max = this.end.toFixed(2);
    this.pause();
    this.seek(0);
  }

  load(clip) {
    const keep = (map, key, make) => { if (!map.has(key)) map.set(key, make()); return map.get(key); };
    const { actors, grounds, tones } = this.data;
    return {
      clip, colour: clip.colour, length: actors[clip.actor].length,
      motion: keep(this.motions, clip, () => new Motion(clip)),
      truck: keep(this.trucks, clip.actor, () => new Truck(actors[clip.actor], tones)),
      ground: keep(this.grounds, clip.ground, () => new Ground(grounds[clip.ground], tones.rock)),
    };
  }

  chosen(name) {
    return this.root.querySelector(`input[name=${name}]:checked`).value;
  }

  play() {
    if (this.time >= this.end) this.time = 0;
    this.playing = true;
    this.last = null;
    this.label();
    requestAnimationFrame((now) => this.tick(now));
  }

  pause() {
    this.playing = false;
    this.label();
  }

  label() {
    const button = this.find("play");
    button.textContent = this.playing ? "Pause" : this.time >= this.end ? "Play again" : "Play";
  }

  tick(now) {
    if (!this.playing) return;
    if (this.last !== null) this.time += ((now - this.last) / 1000) * Number(this.find("speed").value);
    this.last = now;
    if (this.time >= this.end) { this.time = this.end; this.pause(); }
    const began = performance.now();
    this.draw();
    this.measure(performance.now() - began);
    if (this.playing) requestAnimationFrame((next) => this.tick(next));
  }

  /* Fewer pixels while the machine is slow, so that the motion stays smooth; all of them again when it is not. */
  measure(spent) {
    this.stats.frames += 1;
    this.stats.spent += spent;
    this.stats.recent.push(spent);
    if (this.stats.recent.length < 12) return;
    const mean = this.stats.recent.reduce((a, b) => a + b) / this.stats.recent.length;
    this.stats.recent = [];
    if (mean > 20 && this.scale > 0.6) this.scale *= 0.8;
    else if (mean < 9 && this.scale < this.full) this.scale = Math.min(this.full, this.scale / 0.8);
  }

  seek(time) {
    this.time = time;
    this.label();
    this.draw();
  }

  draw() {
    if (!this.shown || !this.shown.length) return;
    const ghost = this.shown.length > 1 && this.chosen("layout") === "ghost";
    this.stages[1].box.hidden = this.shown.length < 2;
    this.stages[1].canvas.hidden = ghost;
    this.root.classList.toggle("two", this.shown.length > 1 && !ghost);
    this.shown.forEach((s) => { s.now = s.motion.at(this.time); });
    this.shown.forEach((s, i) => {
      if (i === 0 || !ghost) this.paint(this.stages[i], ghost ? this.shown : [s]);
      this.tell(this.stages[i], s, ghost && i === 1);
    });
    drawStrip(this.find("strip"), this.shown, this.time, this.end);
    const slider = this.find("time");
    slider.value = String(this.time);
    const text = `${this.time.toFixed(1)} of ${this.end.toFixed(1)} s`;
    slider.setAttribute("aria-valuetext", text);
    this.find("clock").textContent = text;
  }

  paint(stage, cast) {
    const { canvas } = stage, width = Math.round(canvas.clientWidth * this.scale);
    const height = Math.round(canvas.clientHeight * this.scale);
    if (!width || !height) return;
    if (!stage.raster || stage.raster.width !== width || stage.raster.height !== height) {
      stage.raster = new Raster(width, height);
      [canvas.width, canvas.height] = [width, height];
    }
    const [lead] = cast, { now } = lead;
    const name = this.chosen("camera"), [, , away, lens] = this.data.views[name];
    const view = [lead.clip.azimuths[name], now[RAISED + VIEW_NAMES.indexOf(name)], away, lens];
    const inside = this.root.querySelector("input[name=inside]").checked;
    const target = [now[LOOK_AT], now[LOOK_AT + 1], now[LOOK_AT + 2]];
    const camera = new Camera(view, target, lead.clip.heading, lead.length, width, height, this.turn, lead.ground);
    stage.camera = camera;
    stage.raster.clear(packColour(...rgb(getComputedStyle(canvas).getPropertyValue("--sky").trim())));
    lead.ground.paint(stage.raster, camera, now, lead.length);
    cast.forEach((s, i) => s.truck.paint(stage.raster, camera, s.now, s.colour, i > 0, inside && i === 0));
    const context = canvas.getContext("2d");
    context.putImageData(stage.raster.image, 0, 0);
    const overlay = new Overlay(context, this.scale, this.data.tones);
    overlay.moment(camera, now, lead.clip, lead.length);
    if (inside) overlay.names(camera, lead.truck, width, height);
  }

  tell(stage, s, ghost) {
    const over = this.time >= s.motion.duration, margin = s.now[MARGIN];
    stage.caption.textContent = `${s.clip.name}${ghost ? " (ghost)" : ""}${over ? `: ${s.clip.outcome}, ${s.clip.reason}` : ""}`;
    stage.box.classList.toggle("over", over);
    const gone = margin < this.data.over + 0.5; // samples are kept in steps
    stage.now.textContent = gone ? "over" : `${margin.toFixed(0)}°`;
    const state = gone ? "" : margin < 0 ? "tipping" : margin < 10 ? "close" : "";
    stage.word.textContent = state;
    stage.box.dataset.state = state;
    stage.bar.style.width = `${Math.min(100, Math.max(0, (100 * margin) / 60))}%`;
    stage.bar.style.background = s.colour;
  }
}
