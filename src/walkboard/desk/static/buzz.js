// A short vibration where the device has one and the browser allows it: felt where nothing is seen.
export function buzz(pattern = 25) {
  try {
    navigator.vibrate?.(pattern);
  } catch {
    // not allowed before the first touch
  }
}
