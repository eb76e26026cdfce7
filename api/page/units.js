// Temperatures and differences in the unit that the bench shows. The interface
// always speaks of °C and K.

const MINUS = "\u2212";
const SPACE = "\u00a0";

/** Return a number with a real minus sign. */
export function figure(value, decimals) {
  const text = (Math.round(value * 10 ** decimals) / 10 ** decimals + 0).toFixed(decimals);
  return grouped(text.replace("-", MINUS));
}

/** Return a number with its thousands apart, from ten thousand on (ISO 80000-1, 7.3.1). */
function grouped(text) {
  return text.replace(/^(\D?\d{2,3})(\d{3})(?!\d)/, "$1\u202f$2");
}

export function toShown(tempC, unit) {
  return unit === "°F" ? (tempC * 9) / 5 + 32 : tempC;
}

export function fromShown(shown, unit) {
  return unit === "°F" ? ((shown - 32) * 5) / 9 : shown;
}

/** Return a temperature such as "20.6 °C". */
export function tempText(tempC, unit, decimals = 1) {
  return `${figure(toShown(tempC, unit), decimals)}${SPACE}${unit}`;
}

/** Return a difference such as "0.8 K", or in °F where the bench shows that. */
export function differenceText(differenceK, unit, decimals = 1) {
  const fahrenheit = unit === "°F";
  const text = figure(fahrenheit ? (differenceK * 9) / 5 : differenceK, decimals);
  return `${text.replace(/\.0$/, "")}${SPACE}${fahrenheit ? "°F" : "K"}`;
}

/** Return energy as a person reads it from a meter. */
export function energyText(energyWh) {
  if (energyWh < 100) return `${figure(energyWh, 0)}${SPACE}Wh`;
  return `${figure(energyWh / 1000, 2)}${SPACE}kWh`;
}

/** Return a share from 0 to 1 in per cent; what is not all is never said to be. */
export function shareText(share) {
  const percent = share < 1 ? Math.min(99, Math.round(share * 100)) : 100;
  return `${percent}${SPACE}%`;
}

/** Return how long something lasted, in the two largest units at most. */
export function lastingText(lastingMs) {
  const seconds = Math.max(0, Math.round(lastingMs / 1000));
  if (seconds < 60) return `${seconds}${SPACE}s`;
  const minutes = Math.floor(seconds / 60);
  if (minutes < 60) return `${minutes}${SPACE}min`;
  const hours = Math.floor(minutes / 60);
  if (hours < 48) return two(hours, "h", minutes % 60, "min");
  return two(Math.floor(hours / 24), "d", hours % 24, "h");
}

function two(large, of, small, less) {
  return small ? `${large}${SPACE}${of} ${small}${SPACE}${less}` : `${large}${SPACE}${of}`;
}
