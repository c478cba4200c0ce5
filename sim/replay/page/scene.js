/* A recorded trial unpacked: blended poses at any time, the truck's and the ground's triangles, a camera. */
"use strict";

const BODIES = 9, CG = 63, CONTACT = 66, FORCE = 78, MARGIN = 90, LOOK_AT = 91, RAISED = 94;
const VIEW_NAMES = ["side", "front", "chase"];
const LIGHT = (([x, y, z]) => { const s = Math.hypot(x, y, z); return [x / s, y / s, z / s]; })([-0.45, -0.5, 0.8]);
const AMBIENT = 0.45, UNDER = 0.42;

const bytes = (text) => Uint8Array.from(atob(text), (c) => c.charCodeAt(0));
const packColour = (r, g, b) => (255 << 24) | (Math.min(255, b) << 16) | (Math.min(255, g) << 8) | Math.min(255, r);
const rgb = (hex) => [1, 3, 5].map((i) => parseInt(hex.slice(i, i + 2), 16));

function unpack(found) {
  const raw = new DataView(bytes(found.data).buffer), width = found.low.length;
  const out = new Float32Array(found.rows * width);
  for (let i = 0; i < out.length; i++) {
    const c = i % width;
    out[i] = found.low[c] + (found.span[c] * raw.getUint16(2 * i, true)) / 65535;
  }
  return out;
}

class Motion {
  constructor(clip) {
    this.clip = clip;
    this.rows = clip.frames.rows;
    this.width = clip.frames.low.length;
    this.data = unpack(clip.frames);
    this.duration = (this.rows - 1) * clip.step;
    this.now = new Float32Array(this.width);
  }

  /* Everything at a time (s), blended between samples; after the end the last sample stands. */
  at(time) {
    const place = Math.min(Math.max(time / this.clip.step, 0), this.rows - 1);
    const i = Math.min(Math.floor(place), Math.max(this.rows - 2, 0)), t = place - i;
    const a = i * this.width, b = Math.min(i + 1, this.rows - 1) * this.width;
    for (let c = 0; c < this.width; c++) this.now[c] = this.data[a + c] * (1 - t) + this.data[b + c] * t;
    for (let body = 0; body < BODIES; body++) {
      const q = 7 * body + 3;
      const size = Math.hypot(this.now[q], this.now[q + 1], this.now[q + 2], this.now[q + 3]) || 1;
      for (let c = q; c < q + 4; c++) this.now[c] /= size;
    }
    return this.now;
  }

  margins() {
    return Array.from({ length: this.rows }, (_, i) => this.data[i * this.width + MARGIN]);
  }
}

function matrix(now, body) {
  const p = 7 * body, x = now[p + 3], y = now[p + 4], z = now[p + 5], w = now[p + 6];
  return [
    1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w), now[p],
    2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w), now[p + 1],
    2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y), now[p + 2],
  ];
}
const moved = (m, x, y, z) => [0, 4, 8].map((r) => m[r] * x + m[r + 1] * y + m[r + 2] * z + m[r + 3]);

class Camera {
  /* view: azimuth, elevation, distance, lens; ground: what the eye must stay above when it is turned by hand. */
  constructor(view, target, heading, length, width, height, turn, ground) {
    const [azimuth, elevation, away, lens] = view, distance = away * turn.near;
    const a = heading + azimuth + turn.yaw;
    let e = Math.min(1.5, Math.max(0.02, elevation + turn.pitch));
    const inGround = (up) => [0.35, 0.7, 1].some((part) => {
      const reach = part * distance * length;
      const p = [target[0] + reach * Math.cos(a) * Math.cos(up), target[1] + reach * Math.sin(a) * Math.cos(up)];
      return target[2] + reach * Math.sin(up) < ground.height(p[0], p[1]) + 0.05 * length;
    });
    while ((turn.yaw || turn.pitch) && e < 1.5 && inGround(e)) e += 0.05;
    const back = [Math.cos(a) * Math.cos(e), Math.sin(a) * Math.cos(e), Math.sin(e)];
    this.ahead = back.map((v) => -v);
    this.right = [-Math.sin(a), Math.cos(a), 0];
    const [r, h] = [this.right, this.ahead];
    this.up = [r[1] * h[2] - r[2] * h[1], r[2] * h[0] - r[0] * h[2], r[0] * h[1] - r[1] * h[0]];
    this.eye = back.map((v, i) => target[i] + v * distance * length);
    this.focal = (lens * Math.min(height, 0.8 * width)) / 2;
    this.cx = width / 2;
    this.cy = 0.54 * height;
  }

  project(points, out) {
    const { eye, right, up, ahead, focal, cx, cy } = this;
    for (let i = 0; i < points.length; i += 3) {
      const x = points[i] - eye[0], y = points[i + 1] - eye[1], z = points[i + 2] - eye[2];
      const depth = x * ahead[0] + y * ahead[1] + z * ahead[2];
      const near = depth > 0.01 ? 1 / depth : 0;
      out[i] = cx + focal * near * (x * right[0] + y * right[1]);
      out[i + 1] = cy - focal * near * (x * up[0] + y * up[1] + z * up[2]);
      out[i + 2] = near;
    }
    return out;
  }

  spot(p) {
    const out = this.project(p, [0, 0, 0]);
    return out[2] > 0 ? out : null;
  }
}

class Ground {
  constructor(data, rock) {
    const nx = data.x.length, ny = data.y.length, z = unpack(data.z), light = bytes(data.light);
    this.points = new Float32Array(3 * nx * ny + 3 * data.line.length);
    for (let i = 0; i < nx; i++) {
      for (let j = 0; j < ny; j++) this.points.set([data.x[i], data.y[j], z[i * ny + j]], 3 * (i * ny + j));
    }
    data.line.forEach((p, i) => this.points.set(p, 3 * (nx * ny + i)));
    const faces = [], second = [];
    for (let i = 0; i < nx - 1; i++) {
      for (let j = 0; j < ny - 1; j++) {
        const a = i * ny + j, b = a + ny;
        faces.push(a, b, b + 1);
        second.push(a, b + 1, a + 1);
      }
    }
    this.faces = Uint32Array.from([...faces, ...second, ...data.strip.flat().map((i) => i + nx * ny)]);
    this.projected = new Float32Array(this.points.length);
    this.light = light;
    [this.x, this.y] = [data.x, data.y];
    this.tone = rgb(rock);
    this.colours = new Uint32Array(this.faces.length / 3);
  }

  /* Height (m) at a place, between grid lines; beyond the edge that of the edge. */
  height(x, y) {
    const cell = (lines, v) => {
      let i = 1;
      while (i < lines.length - 1 && lines[i] < v) i++;
      return [i - 1, Math.min(1, Math.max(0, (v - lines[i - 1]) / (lines[i] - lines[i - 1])))];
    };
    const [i, u] = cell(this.x, x), [j, v] = cell(this.y, y), n = this.y.length;
    const z = (a, b) => this.points[3 * (a * n + b) + 2];
    return (1 - u) * ((1 - v) * z(i, j) + v * z(i, j + 1)) + u * ((1 - v) * z(i + 1, j) + v * z(i + 1, j + 1));
  }

  /* Darkens the ground under a truck and paints it. */
  paint(raster, camera, now, length) {
    const m = matrix(now, 0), middle = moved(m, 0.5 * length, 0, 0);
    const size = Math.hypot(m[0], m[4]) || 1, fx = m[0] / size, fy = m[4] / size;
    const { points, faces, light, tone, colours } = this;
    for (let n = 0; n < colours.length; n++) {
      const p = 3 * faces[3 * n], dx = points[p] - middle[0], dy = points[p + 1] - middle[1];
      const u = (dx * fx + dy * fy) / (0.72 * length), v = (dy * fx - dx * fy) / (0.48 * length);
      const d = u * u + v * v, dark = d < 3 ? 1 - UNDER * Math.exp(-d * d) : 1;
      if (n >= light.length) colours[n] = packColour(246 * dark, 246 * dark, 246 * dark);
      else {
        const k = (dark * light[n]) / 160;
        colours[n] = packColour(tone[0] * k, tone[1] * k, tone[2] * k);
      }
    }
    raster.fill(camera.project(points, this.projected), faces, colours, 0);
  }
}

class Truck {
  constructor(data, tones) {
    this.data = data;
    this.tones = tones;
    this.parts = data.solids.map((s) => ({
      ...s, f: Uint32Array.from(s.f), world: new Float32Array(s.v.length), flat: new Float32Array(s.v.length),
      colours: new Uint32Array(s.f.length / 3),
    }));
    const faces = [0, 1, 2, 3].flatMap((i) => { const n = (i + 1) % 4; return [i, n, n + 4, i, n + 4, i + 4]; });
    this.rod = { f: Uint32Array.from(faces), world: new Float32Array(24), flat: new Float32Array(24),
      colours: new Uint32Array(8) };
  }

  paint(raster, camera, now, shell, ghost, inside) {
    const frames = Array.from({ length: BODIES }, (_, b) => matrix(now, b));
    const glass = (part) => inside && (part.tone === "shell" || part.tone === "cab");
    this.frames = frames;
    for (const part of [...this.parts.filter((p) => !glass(p)), ...this.parts.filter(glass)]) {
      if (part.inside && !inside) continue;
      const m = frames[part.body], { v, world } = part;
      for (let i = 0; i < v.length; i += 3) {
        const x = v[i], y = v[i + 1], z = v[i + 2];
        world[i] = m[0] * x + m[1] * y + m[2] * z + m[3];
        world[i + 1] = m[4] * x + m[5] * y + m[6] * z + m[7];
        world[i + 2] = m[8] * x + m[9] * y + m[10] * z + m[11];
      }
      if (!glass(part)) this.draw(raster, camera, part, this.toneOf(part.tone, shell), ghost ? 1 : 0);
    }
    for (const rod of this.data.rods) {
      const [a, b] = rod.ends.map((end, i) => moved(frames[rod.bodies[i]], ...end));
      this.prism(a, b, rod.radius);
      this.draw(raster, camera, this.rod, this.toneOf(rod.tone, shell), ghost ? 1 : 0);
    }
    // What one looks through is painted when all that it could hide is there.
    for (const part of this.parts.filter(glass)) this.draw(raster, camera, part, this.toneOf(part.tone, shell), 2);
  }

  toneOf(name, shell) {
    if (name === "shell") return rgb(shell);
    if (name === "cab") return rgb(shell).map((c) => 0.55 * c + 110);
    return rgb(this.tones[name]);
  }

  draw(raster, camera, part, tone, how) {
    const { world, f, colours } = part;
    for (let n = 0; n < colours.length; n++) {
      const i = 3 * f[3 * n], j = 3 * f[3 * n + 1], k = 3 * f[3 * n + 2];
      const ux = world[j] - world[i], uy = world[j + 1] - world[i + 1], uz = world[j + 2] - world[i + 2];
      const vx = world[k] - world[i], vy = world[k + 1] - world[i + 1], vz = world[k + 2] - world[i + 2];
      let x = uy * vz - uz * vy, y = uz * vx - ux * vz, z = ux * vy - uy * vx;
      const size = Math.sqrt(x * x + y * y + z * z) || 1;
      x /= size; y /= size; z /= size;
      const sun = Math.max(0, x * LIGHT[0] + y * LIGHT[1] + z * LIGHT[2]);
      const b = AMBIENT * (0.775 + 0.225 * z) + (1.12 - AMBIENT) * sun;
      colours[n] = packColour(tone[0] * b, tone[1] * b, tone[2] * b);
    }
    raster.fill(camera.project(world, part.flat), f, colours, how);
  }

  prism(a, b, radius) {
    const d = b.map((v, i) => v - a[i]), size = Math.hypot(...d) || 1, [x, y, z] = d.map((v) => v / size);
    let s = Math.abs(z) < 0.9 ? [y, -x, 0] : [0, z, -y];
    const wide = Math.hypot(...s);
    s = s.map((v) => v / wide);
    const t = [y * s[2] - z * s[1], z * s[0] - x * s[2], x * s[1] - y * s[0]];
    [[1, 1], [-1, 1], [-1, -1], [1, -1]].forEach(([p, q], i) => {
      for (let c = 0; c < 3; c++) {
        const off = radius * (p * s[c] + q * t[c]);
        this.rod.world[3 * i + c] = a[c] + off;
        this.rod.world[3 * (i + 4) + c] = b[c] + off;
      }
    });
  }
}
