// Where the shot is at a moment: between the samples that the server gave. Only in-between values
// for drawing; nothing of the motion is worked out here.

/** Index and share between samples for a time [s]. */
export function moment(full, time) {
  const t = full.t_s;
  let [low, high] = [0, t.length - 1];
  const at = Math.min(Math.max(time, 0), t[high]);
  while (high - low > 1) {
    const middle = (low + high) >> 1;
    if (t[middle] <= at) low = middle; else high = middle;
  }
  const span = t[high] - t[low];
  return { n: low, share: span > 0 ? (at - t[low]) / span : 0 };
}

export const between = (values, { n, share }) => {
  const next = values[Math.min(n + 1, values.length - 1)];
  return values[n] + share * (next - values[n]);
};

/** The time at which the ball is so far down the lane. */
export function timeAt(full, ft) {
  const x = full.x_ft;
  let [low, high] = [0, x.length - 1];
  while (high - low > 1) {
    const middle = (low + high) >> 1;
    if (x[middle] <= ft) low = middle; else high = middle;
  }
  const span = x[high] - x[low];
  const share = span > 0 ? Math.min(1, Math.max(0, (ft - x[low]) / span)) : 0;
  return full.t_s[low] + share * (full.t_s[high] - full.t_s[low]);
}

/** How the ball lies at a moment: its quaternion, along the shortest turn between two samples. */
export function lie(full, { n, share }) {
  const a = full.turn[n];
  const b = full.turn[Math.min(n + 1, full.turn.length - 1)];
  const cosine = Math.min(1, Math.abs(a[0] * b[0] + a[1] * b[1] + a[2] * b[2] + a[3] * b[3]));
  const sign = a[0] * b[0] + a[1] * b[1] + a[2] * b[2] + a[3] * b[3] < 0 ? -1 : 1;
  const angle = Math.acos(cosine);
  const sine = Math.sin(angle);
  const [p, q] = sine < 1e-6 ? [1 - share, sign * share]
    : [Math.sin((1 - share) * angle) / sine, sign * Math.sin(share * angle) / sine];
  return a.map((value, k) => p * value + q * b[k]);
}

/** A vector of the ball, on the lane. */
export function turned([w, x, y, z], [a, b, c]) {
  const [u, v, s] = [y * c - z * b + w * a, z * a - x * c + w * b, x * b - y * a + w * c];
  return [a + 2 * (y * s - z * v), b + 2 * (z * u - x * s), c + 2 * (x * v - y * u)];
}
