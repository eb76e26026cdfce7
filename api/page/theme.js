// Light or dark: as the device says, until somebody says otherwise on this device.

import { byId } from "./dom.js";

const KEY = "bottomheat.theme";
const dark = matchMedia("(prefers-color-scheme: dark)");

function kept() {
  try {
    return localStorage.getItem(KEY);
  } catch {
    return null;
  }
}

function isDark() {
  const said = kept();
  return said ? said === "dark" : dark.matches;
}

/** Show the theme that holds, and follow the device. */
export function useTheme() {
  document.documentElement.dataset.theme = isDark() ? "dark" : "light";
  const button = byId("theme");
  button.textContent = isDark() ? "light" : "dark";
  button.setAttribute("aria-label", isDark() ? "Use the light sheet" : "Use the dark sheet");
}

dark.addEventListener("change", useTheme);

export function otherTheme() {
  try {
    localStorage.setItem(KEY, isDark() ? "light" : "dark");
  } catch {
    // The device keeps nothing: it follows the device again at the next start.
  }
  useTheme();
}
