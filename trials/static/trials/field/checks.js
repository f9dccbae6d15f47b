// Doubts about a value, asked at once and never a refusal. The same rules as the server's checks of what came in:
// limits, a change no tree makes, a slip of hand or unit, a height that does not go with its diameter.

const MOST_LOSS = { mm: 2, m: 0.5 };
const MOST_GAIN_PER_YEAR = { mm: 40, m: 3 };
const BREAST_HEIGHT_M = 1.3;
const SLENDERNESS = [20, 200];
const YEAR_MS = 365.25 * 24 * 3600 * 1000;

/** A number as people write it here: at most `decimals` of them. */
export function shown(value, decimals = 6) {
  if (value === null || value === undefined || value === "") return "";
  return typeof value === "number" ? String(Number(value.toFixed(Math.min(decimals, 6)))) : String(value);
}

const isDiameter = (trait) => trait.kind === "number" && /^(dbh|diameter)/i.test(trait.code) && ["mm", "cm"].includes(trait.unit);
const isHeight = (trait) => trait.kind === "number" && /^height/i.test(trait.code) && trait.unit === "m";
const isStem = (trait) => isDiameter(trait) || isHeight(trait);
const inMillimetres = (value, trait) => (trait.unit === "cm" ? value * 10 : value);

/** Lowest, expected and highest height in m at a diameter in mm; null where the curve says nothing. */
export function heightBand(curve, dbh_mm) {
  if (!curve || !(dbh_mm >= 0.75 * curve.least_dbh_mm && dbh_mm <= 1.25 * curve.most_dbh_mm)) return null;
  const d_cm = dbh_mm / 10;
  const base = curve.b + curve.a / d_cm;
  if (base <= 0) return null;
  const rise = base ** -curve.power;
  const by_b = (-curve.power * rise) / base;
  const by_a = by_b / d_cm;
  const variance = curve.sd_m ** 2 + by_a * by_a * curve.var_a + 2 * by_a * by_b * curve.cov_ab + by_b * by_b * curve.var_b;
  const half = curve.t * Math.sqrt(variance);
  const height = curve.breast_height_m + rise;
  return [Math.max(height - half, curve.breast_height_m), height, height + half];
}

/** Questions about one value, gravest first, as words that a question mark ends; [] when nothing is odd. `now` holds the tree's other
 * values of this visit by trait. */
export function doubts(trait, value, { tree, now = {}, pack }) {
  if (trait.kind !== "number" || typeof value !== "number") return [];
  const slip = slips(trait, value, tree);
  return [...slip, ...(slip.length ? [] : changes(trait, value, tree, pack)), ...limits(trait, value), ...heights(trait, value, now, pack)];
}

function limits(trait, value) {
  const unit = trait.unit ? ` ${trait.unit}` : "";
  if (trait.minimum !== null && value < trait.minimum) return [`${shown(value)}${unit} is below ${shown(trait.minimum)}`];
  if (trait.maximum !== null && value > trait.maximum) return [`${shown(value)}${unit} is above ${shown(trait.maximum)}`];
  return [];
}

const lastOf = (trait, tree) => {
  const last = tree.last?.[trait.code];
  return typeof last === "number" && last > 0 ? last : null;
};

function slips(trait, value, tree) {
  const last = lastOf(trait, tree);
  if (last === null || !isStem(trait)) return [];
  const ratio = value / last;
  if (isDiameter(trait) && Math.abs(Math.log(ratio / Math.PI)) <= 0.15) return [`Last time ${shown(last)}, now ${shown(value)}: the circumference`];
  if (ratio >= 7.4 && ratio <= 13.5) return [`Last time ${shown(last)}, now ${shown(value)}: ten times too much`];
  if (ratio >= 0.074 && ratio <= 0.135) return [`Last time ${shown(last)}, now ${shown(value)}: ten times too little`];
  return [];
}

function changes(trait, value, tree, pack) {
  const last = lastOf(trait, tree);
  if (last === null) return [];
  const inUnit = (table) => (trait.unit === "cm" ? table.mm / 10 : table[trait.unit]);
  const loss = (isStem(trait) ? inUnit(MOST_LOSS) : undefined) ?? 0;
  if (!trait.shrinks && value < last - loss - 1e-9) return [`Last time ${shown(last)}, now ${shown(value)}: it shrank`];
  const years = (Date.parse(pack?.measured_from) - Date.parse(tree.last_on?.[trait.code])) / YEAR_MS;
  const gain = isStem(trait) ? inUnit(MOST_GAIN_PER_YEAR) * years : NaN;
  if (years > 0 && value - last > gain + 1e-9) return [`Last time ${shown(last)}, now ${shown(value)}: that much growth`];
  return [];
}

function heights(trait, value, now, pack) {
  if (!isStem(trait)) return [];
  const traits = pack.traits;
  const diameter = traits.find(isDiameter);
  const height = traits.find(isHeight);
  if (!diameter || !height) return [];
  const read = (t) => (t.code === trait.code ? value : now[t.code]);
  if (!(read(diameter) > 0) || !(read(height) > 0)) return [];
  const dbh_mm = inMillimetres(read(diameter), diameter);
  const height_m = read(height);
  const said = `${shown(height_m)} m high at ${shown(dbh_mm)} mm`;
  if (height_m < BREAST_HEIGHT_M) return [`${said}: below breast height`];
  const ratio = height_m / (dbh_mm / 1000);
  if (ratio < SLENDERNESS[0] || ratio > SLENDERNESS[1]) return [`${said}: that ${ratio > SLENDERNESS[1] ? "slender" : "stout"}`];
  const band = heightBand(pack.band, dbh_mm);
  if (band && (height_m < band[0] || height_m > band[2])) return [`${said}: usual is ${band[0].toFixed(1)} to ${band[2].toFixed(1)} m`];
  return [];
}
