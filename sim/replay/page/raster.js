/* Triangles to pixels with a depth buffer. In software, so that it needs no graphics driver and looks the same
   everywhere, in the films too. */
"use strict";

const TINT = 77;
const mix = (under, over) => ((256 - TINT) * (under & 255) + TINT * (over & 255)) >> 8;

class Raster {
  constructor(width, height) {
    this.width = width;
    this.height = height;
    this.image = new ImageData(width, height);
    this.pixels = new Uint32Array(this.image.data.buffer);
    this.near = new Float32Array(width * height);
  }

  clear(colour) {
    this.pixels.fill(colour);
    this.near.fill(0);
  }

  /* points: x, y in pixels and 1 / depth (0 behind the eye), three numbers each; faces: three indices each;
     colours: one packed colour per face. A veil (1) leaves out every other pixel; glass (2) tints what is there. */
  fill(points, faces, colours, how) {
    const veil = how === 1, glass = how === 2;
    const { width, height, pixels, near } = this;
    const count = faces.length, back = veil ? 0.985 : 1;
    for (let f = 0, n = 0; f < count; f += 3, n++) {
      const i = 3 * faces[f], j = 3 * faces[f + 1], k = 3 * faces[f + 2];
      // Where a ghost and the truck coincide, the truck is seen.
      const n0 = back * points[i + 2], n1 = back * points[j + 2], n2 = back * points[k + 2];
      if (n0 <= 0 || n1 <= 0 || n2 <= 0) continue;
      const x0 = points[i], y0 = points[i + 1];
      const x1 = points[j], y1 = points[j + 1];
      const x2 = points[k], y2 = points[k + 1];
      const area = (x1 - x0) * (y2 - y0) - (x2 - x0) * (y1 - y0);
      if (area >= 0) continue;
      let low = y0 < y1 ? y0 : y1; if (y2 < low) low = y2;
      let high = y0 > y1 ? y0 : y1; if (y2 > high) high = y2;
      if (high < 0 || low > height) continue;
      let left = x0 < x1 ? x0 : x1; if (x2 < left) left = x2;
      let right = x0 > x1 ? x0 : x1; if (x2 > right) right = x2;
      if (right < 0 || left > width) continue;
      const top = Math.max(0, Math.ceil(low - 0.5)), bottom = Math.min(height - 1, Math.floor(high - 0.5));
      const from = Math.max(0, Math.ceil(left - 0.5)), to = Math.min(width - 1, Math.floor(right - 0.5));
      if (top > bottom || from > to) continue;
      const over = -1 / area;
      const a0 = (y2 - y1) * over, b0 = (x1 - x2) * over;
      const a1 = (y0 - y2) * over, b1 = (x2 - x0) * over;
      const dn = a0 * (n0 - n2) + a1 * (n1 - n2);
      const colour = colours[n];
      for (let y = top; y <= bottom; y++) {
        const py = y + 0.5;
        const p0 = b0 * (py - y1) - a0 * x1, p1 = b1 * (py - y2) - a1 * x2;
        let w0 = a0 * (from + 0.5) + p0, w1 = a1 * (from + 0.5) + p1;
        let z = n2 + w0 * (n0 - n2) + w1 * (n1 - n2);
        let at = y * width + from;
        for (let x = from; x <= to; x++, at++, w0 += a0, w1 += a1, z += dn) {
          if (w0 >= 0 && w1 >= 0 && w0 + w1 <= 1 && z > near[at] && !(veil && ((x + y) & 1))) {
            if (glass) {
              const under = pixels[at];
              pixels[at] = (255 << 24) | (mix(under >> 16, colour >> 16) << 16) | (mix(under >> 8, colour >> 8) << 8) | mix(under, colour);
              continue;
            }
            near[at] = z;
            pixels[at] = colour;
          }
        }
      }
    }
  }
}
