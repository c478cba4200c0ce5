/* What is drawn over a moment: contact patches, loads, the support polygon, the centre of gravity, its plumb line. */
"use strict";

const ROUND_TRIP = [0, 1, 3, 2];

class Overlay {
  constructor(context, scale, tones) {
    this.c = context;
    this.scale = scale;
    this.tones = tones;
  }

  moment(camera, now, clip, length) {
    const feet = [0, 1, 2, 3].map((i) => Array.from(now.slice(CONTACT + 3 * i, CONTACT + 3 * i + 3)));
    const loads = [0, 1, 2, 3].map((i) => Array.from(now.slice(FORCE + 3 * i, FORCE + 3 * i + 3)));
    this.polygon(ROUND_TRIP.map((i) => camera.spot(feet[i])));
    feet.forEach((foot, i) => this.foot(camera, foot, loads[i], clip.weight, length));
    this.centre(camera, Array.from(now.slice(CG, CG + 3)), feet);
  }

  /* Names of what the picture is about, in two columns beside it, each with a line to its part. */
  names(camera, truck, width, height) {
    const { c, scale } = this, size = 12 * scale, step = 1.35 * size;
    c.font = `${size}px sans-serif`;
    c.textBaseline = "middle";
    const all = truck.data.names.map((one) => ({ ...one, spot: camera.spot(moved(truck.frames[one.body], ...one.at)) }))
      .filter((one) => one.spot);
    const sides = [false, true].map((right) =>
      all.filter((one) => one.spot[0] >= width / 2 === right).sort((a, b) => a.spot[1] - b.spot[1]));
    const widest = sides.map((side) => Math.max(0, ...side.map((one) => c.measureText(one.text).width)));
    // Where both columns do not fit beside each other they stand above and below the truck.
    const narrow = widest[0] + widest[1] + 40 * scale > width - 0.3 * height;
    for (const right of [false, true]) {
      const mine = sides[Number(right)];
      let y = Math.max(step, camera.cy - 0.5 * step * mine.length);
      if (narrow) y = right ? height - step * (mine.length - 0.3) : step * 0.8;
      for (const { text, changed, spot } of mine) {
        const long = c.measureText(text).width, x = right ? width - long - 8 * scale : 8 * scale;
        this.line([[right ? x - 3 * scale : x + long + 3 * scale, y], spot], changed ? "#b34a00" : "#22262b", 1);
        c.fillStyle = "rgba(255,255,255,.88)";
        c.fillRect(x - 3 * scale, y - 0.62 * size, long + 6 * scale, 1.24 * size);
        c.fillStyle = changed ? "#9a3f00" : "#22262b";
        c.fillText(text, x, y);
        y += step;
      }
    }
  }

  line(points, colour, width, dash) {
    if (points.some((p) => p === null)) return;
    const { c, scale } = this;
    for (const [tone, extra] of [["rgba(255,255,255,.75)", 2.2], [colour, 0]]) {
      c.beginPath();
      points.forEach((p, i) => (i ? c.lineTo(p[0], p[1]) : c.moveTo(p[0], p[1])));
      c.strokeStyle = tone;
      c.lineWidth = (width + extra) * scale;
      c.setLineDash(dash ? dash.map((d) => d * scale) : []);
      c.lineCap = "round";
      c.stroke();
    }
    c.setLineDash([]);
  }

  polygon(spots) {
    this.line([...spots, spots[0]], this.tones.support, 1.6, [5, 4]);
  }

  foot(camera, foot, load, weight, length) {
    const spot = camera.spot(foot);
    if (!spot) return;
    const { c, scale } = this;
    const share = Math.hypot(...load) / weight;
    c.beginPath();
    c.arc(spot[0], spot[1], (share > 0.01 ? 2.5 + 4.5 * Math.sqrt(share) : 4) * scale, 0, 7);
    c.lineWidth = 1.6 * scale;
    c.strokeStyle = "rgba(255,255,255,.9)";
    if (share > 0.01) {
      c.fillStyle = this.tones.load;
      c.fill();
    }
    c.stroke();
    if (share <= 0.01) return;
    const end = camera.spot(foot.map((v, i) => v + (load[i] / weight) * 0.9 * length));
    if (!end) return;
    this.line([spot, end], this.tones.load, 2.6);
    const dx = end[0] - spot[0], dy = end[1] - spot[1], size = Math.hypot(dx, dy);
    if (size < 6 * scale) return;
    const [ux, uy] = [dx / size, dy / size], head = 6 * scale;
    c.beginPath();
    c.moveTo(end[0] + ux * head, end[1] + uy * head);
    c.lineTo(end[0] - uy * head * 0.7, end[1] + ux * head * 0.7);
    c.lineTo(end[0] + uy * head * 0.7, end[1] - ux * head * 0.7);
    c.fillStyle = this.tones.load;
    c.fill();
  }

  centre(camera, cg, feet) {
    const spot = camera.spot(cg);
    if (!spot) return;
    const floor = feet.reduce((sum, foot) => sum + foot[2] / 4, 0);
    this.line([spot, camera.spot([cg[0], cg[1], floor])], "#22262b", 1.4, [2, 4]);
    const { c, scale } = this, r = 6.5 * scale;
    c.beginPath();
    c.arc(spot[0], spot[1], r, 0, 7);
    c.fillStyle = "#ffffff";
    c.fill();
    c.fillStyle = "#22262b";
    for (const start of [0, Math.PI]) {
      c.beginPath();
      c.moveTo(spot[0], spot[1]);
      c.arc(spot[0], spot[1], r, start, start + Math.PI / 2);
      c.fill();
    }
    c.beginPath();
    c.arc(spot[0], spot[1], r, 0, 7);
    c.strokeStyle = "#22262b";
    c.lineWidth = 1.4 * scale;
    c.stroke();
  }
}

/* Margin over time of the shown trials, with a line at the present moment. */
function drawStrip(canvas, motions, time, end) {
  const ratio = Math.min(2, window.devicePixelRatio || 1);
  const width = Math.round(canvas.clientWidth * ratio), height = Math.round(canvas.clientHeight * ratio);
  if (!width) return;
  if (canvas.width !== width || canvas.height !== height) [canvas.width, canvas.height] = [width, height];
  const style = getComputedStyle(canvas), ink = style.getPropertyValue("--ink"), grid = style.getPropertyValue("--grid");
  const c = canvas.getContext("2d");
  c.clearRect(0, 0, width, height);
  const all = motions.flatMap((m) => m.motion.margins());
  const low = Math.min(-5, ...all), high = Math.max(40, ...all);
  const left = 34 * ratio, x = (t) => left + ((width - left - 4 * ratio) * t) / end;
  const y = (v) => 6 * ratio + ((height - 12 * ratio) * (high - v)) / (high - low);
  c.font = `${11 * ratio}px sans-serif`;
  c.fillStyle = ink;
  c.textAlign = "right";
  c.textBaseline = "middle";
  for (let v = Math.ceil(low / 20) * 20; v <= high; v += 20) {
    c.fillText(`${v}°`, left - 5 * ratio, y(v));
    c.fillStyle = v === 0 ? ink : grid;
    c.fillRect(left, y(v), width - left, v === 0 ? 1.6 * ratio : ratio);
    c.fillStyle = ink;
  }
  motions.forEach(({ motion, colour }, n) => {
    c.beginPath();
    motion.margins().forEach((v, i) => c.lineTo(x(i * motion.clip.step), y(v)));
    c.strokeStyle = colour;
    c.lineWidth = 2 * ratio;
    c.setLineDash(n ? [6 * ratio, 3 * ratio] : []);
    c.stroke();
  });
  c.setLineDash([]);
  c.fillStyle = ink;
  c.fillRect(x(Math.min(time, end)) - ratio, 0, 2 * ratio, height);
}
