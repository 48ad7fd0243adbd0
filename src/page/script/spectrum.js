// How strong the sound is, band by band, at some moments: the strip under the bars by which a doubtful place is checked.
//
// In: mono samples and the samples at which to look. Out: for each moment and band, from low to high, 0 (silent) to 255.

const WINDOW = 1024, BANDS = 40;
// Bands are spaced evenly by ear between these frequencies; what lies so many dB under the loudest is white.
const LOWEST = 45, HIGHEST = 16000, DEPTH = 66;
const hann = Float32Array.from({ length: WINDOW }, (_, i) => 0.5 - 0.5 * Math.cos((2 * Math.PI * (i + 0.5)) / WINDOW));
const cosines = Float32Array.from({ length: WINDOW / 2 }, (_, i) => Math.cos((2 * Math.PI * i) / WINDOW));
const sines = Float32Array.from({ length: WINDOW / 2 }, (_, i) => Math.sin((2 * Math.PI * i) / WINDOW));

// The bins that each band covers; low bands share a bin.
const bins = Array.from({ length: BANDS }, (_, band) => {
  const hz = (b) => LOWEST * (HIGHEST / LOWEST) ** (b / BANDS);
  const first = Math.max(1, Math.floor((hz(band) * WINDOW) / RATE));
  return [first, Math.max(first + 1, Math.floor((hz(band + 1) * WINDOW) / RATE))];
});

// The discrete Fourier transform in place, by halves.
function transform(re, im) {
  for (let i = 1, j = 0; i < WINDOW; i++) {
    let bit = WINDOW >> 1;
    for (; j & bit; bit >>= 1) j ^= bit;
    j ^= bit;
    if (i < j) [re[i], re[j], im[i], im[j]] = [re[j], re[i], im[j], im[i]];
  }
  for (let size = 2; size <= WINDOW; size *= 2) {
    const half = size / 2, turn = WINDOW / size;
    for (let start = 0; start < WINDOW; start += size) {
      for (let k = 0; k < half; k++) {
        const a = start + k, b = a + half, c = cosines[k * turn], s = -sines[k * turn];
        const x = re[b] * c - im[b] * s, y = re[b] * s + im[b] * c;
        re[b] = re[a] - x; im[b] = im[a] - y;
        re[a] += x; im[a] += y;
      }
    }
  }
}

function spectrum({ samples, moments, peak }) {
  const re = new Float32Array(WINDOW), im = new Float32Array(WINDOW);
  const out = new Uint8Array(moments.length * BANDS);
  // A full tone at the loudest sample's height fills a quarter of the window's sum.
  const loudest = (peak * WINDOW) / 8;
  moments.forEach((moment, m) => {
    for (let i = 0; i < WINDOW; i++) {
      re[i] = (samples[moment - WINDOW / 2 + i] || 0) * hann[i];
      im[i] = 0;
    }
    transform(re, im);
    bins.forEach(([from, to], band) => {
      let most = 0;
      for (let k = from; k < to; k++) most = Math.max(most, re[k] * re[k] + im[k] * im[k]);
      const decibels = 10 * Math.log10(most / (loudest * loudest) + 1e-12);
      out[m * BANDS + band] = Math.max(0, Math.min(255, Math.round((1 + decibels / DEPTH) * 255)));
    });
  });
  return out;
}
