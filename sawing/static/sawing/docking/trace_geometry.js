// From points on a sheet to stations along a flitch, in mm. No page code in here.

/** Millimetres per unit of the sheet: from two scale marks a known length apart, or 1 on the grid; null if unknown. */
export function scaleOf(marks, knownMm, onGrid) {
  if (marks.length < 2) return onGrid ? 1 : null;
  const units = Math.hypot(marks[1].x - marks[0].x, marks[1].y - marks[0].y);
  return units > 0 && knownMm > 0 ? knownMm / units : null;
}

/** Points in the direction of the line from butt to top: along it, and across it, in mm. */
function turned(points, butt, top, mmPerUnit) {
  const long = Math.hypot(top.x - butt.x, top.y - butt.y);
  const ux = (top.x - butt.x) / long;
  const uy = (top.y - butt.y) / long;
  return points
    .map((p) => {
      const dx = p.x - butt.x;
      const dy = p.y - butt.y;
      return { x: (dx * ux + dy * uy) * mmPerUnit, y: (dy * ux - dx * uy) * mmPerUnit };
    })
    .sort((a, b) => a.x - b.x);
}

function middle(a, b) {
  return { x: (a.x + b.x) / 2, y: (a.y + b.y) / 2 };
}

/** The line along the flitch: the two end points if set, else through the middles of the edges' ends. */
export function lineOf(points) {
  if (points.axis.length === 2) return points.axis;
  const byX = (list) => [...list].sort((a, b) => a.x - b.x);
  const one = byX(points.one);
  const other = byX(points.other);
  return [middle(one[0], other[0]), middle(one.at(-1), other.at(-1))];
}

function heightAt(edge, x) {
  let i = 1;
  while (i < edge.length - 1 && edge[i].x < x) i += 1;
  const [a, b] = [edge[i - 1], edge[i]];
  return b.x === a.x ? b.y : a.y + ((x - a.x) / (b.x - a.x)) * (b.y - a.y);
}

/**
 * Stations [{x, left, right}] in mm, rising, wherever either edge has a point, as far as both edges reach.
 * Answers {stations, problem}: a problem in words, or stations.
 */
export function stationsOf(points, knownMm, onGrid) {
  const mmPerUnit = scaleOf(points.scale, knownMm, onGrid);
  if (mmPerUnit === null) return { stations: [], problem: "Set two scale marks on the photo, and their length." };
  if (points.one.length < 2 || points.other.length < 2) {
    return { stations: [], problem: "Each edge needs at least two points." };
  }
  const [butt, top] = lineOf(points);
  if (Math.hypot(top.x - butt.x, top.y - butt.y) === 0) {
    return { stations: [], problem: "The two ends lie on one point." };
  }
  const one = turned(points.one, butt, top, mmPerUnit);
  const other = turned(points.other, butt, top, mmPerUnit);
  const first = Math.max(one[0].x, other[0].x);
  const last = Math.min(one.at(-1).x, other.at(-1).x);
  const places = [first, ...[...one, ...other].map((p) => p.x).filter((x) => x > first && x < last), last].sort(
    (a, b) => a - b,
  );
  const stations = [];
  for (const x of places) {
    if (stations.length && x - stations.at(-1).at < 1) continue;
    stations.push({ at: x, ys: [heightAt(one, x), heightAt(other, x)] });
  }
  if (stations.length < 2) return { stations: [], problem: "The edges do not lie beside each other." };
  const sum = stations.reduce((total, s) => total + s.ys[0] - s.ys[1], 0);
  const [left, right] = sum < 0 ? [0, 1] : [1, 0];
  const round = (value) => Math.round(value * 10) / 10;
  return {
    stations: stations.map((s) => ({ x: round(s.at - first), left: round(s.ys[left]), right: round(s.ys[right]) })),
    problem: "",
  };
}
