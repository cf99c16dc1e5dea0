// PNG pictures with 8 bits a channel, without interlacing: what the browser writes. And how colour-blind eyes see them.
import { crc32, deflateSync, inflateSync } from 'node:zlib';

// Pixels of a picture: `at(x, y)` is [red, green, blue].
export const decode = (png) => {
  let at = 8, width, height, channels;
  const parts = [];
  while (at < png.length) {
    const length = png.readUInt32BE(at), kind = png.toString('latin1', at + 4, at + 8), data = png.subarray(at + 8, at + 8 + length);
    if (kind === 'IHDR') { width = data.readUInt32BE(0); height = data.readUInt32BE(4); channels = { 2: 3, 6: 4 }[data[9]]; }
    if (kind === 'IDAT') parts.push(data);
    at += 12 + length;
  }
  const raw = inflateSync(Buffer.concat(parts)), row = width * channels, out = Buffer.alloc(row * height);
  for (let y = 0; y < height; y++) {
    const filter = raw[y * (row + 1)];
    for (let x = 0; x < row; x++) {
      const v = raw[y * (row + 1) + 1 + x];
      const a = x >= channels ? out[y * row + x - channels] : 0, b = y ? out[(y - 1) * row + x] : 0, c = x >= channels && y ? out[(y - 1) * row + x - channels] : 0;
      const p = a + b - c, pa = Math.abs(p - a), pb = Math.abs(p - b), pc = Math.abs(p - c);
      const guess = [0, a, b, (a + b) >> 1, pa <= pb && pa <= pc ? a : pb <= pc ? b : c][filter];
      out[y * row + x] = v + guess;
    }
  }
  return { width, height, at: (x, y) => [...out.subarray((y * width + x) * channels, (y * width + x) * channels + 3)] };
};

// A picture of width × height pixels from `at(x, y)`.
export const encode = (width, height, at) => {
  const raw = Buffer.alloc(height * (3 * width + 1));
  for (let y = 0; y < height; y++) for (let x = 0; x < width; x++) raw.set(at(x, y), y * (3 * width + 1) + 1 + 3 * x);
  const head = Buffer.alloc(13);
  head.writeUInt32BE(width, 0); head.writeUInt32BE(height, 4); head.set([8, 2, 0, 0, 0], 8);
  const part = (kind, data) => {
    const body = Buffer.concat([Buffer.from(kind, 'latin1'), data]), frame = Buffer.alloc(8);
    frame.writeUInt32BE(data.length, 0); frame.writeUInt32BE(crc32(body), 4);
    return Buffer.concat([frame.subarray(0, 4), body, frame.subarray(4)]);
  };
  const signature = Buffer.from([137, 80, 78, 71, 13, 10, 26, 10]);
  return Buffer.concat([signature, part('IHDR', head), part('IDAT', deflateSync(raw)), part('IEND', Buffer.alloc(0))]);
};

// What lacks one kind of cone sees, on linear RGB, severity 1.0: Machado, Oliveira & Fernandes 2009, A Physiologically-based
// Model for Simulation of Color Vision Deficiency, IEEE TVCG 15(6) 1291-1298; numbers from memory.
export const BLIND = {
  protanopia: [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
  deuteranopia: [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
  tritanopia: [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]],
};
const LINEAR = Array.from({ length: 256 }, (_, v) => (v / 255 <= 0.04045 ? v / 255 / 12.92 : ((v / 255 + 0.055) / 1.055) ** 2.4));
const toByte = (l) => { const c = Math.min(1, Math.max(0, l)); return Math.round(255 * (c <= 0.0031308 ? 12.92 * c : 1.055 * c ** (1 / 2.4) - 0.055)); };

// The picture as such eyes see it.
export const seen = (png, matrix) => {
  const { width, height, at } = decode(png);
  return encode(width, height, (x, y) => {
    const c = at(x, y).map((v) => LINEAR[v]);
    return matrix.map((row) => toByte(row[0] * c[0] + row[1] * c[1] + row[2] * c[2]));
  });
};
