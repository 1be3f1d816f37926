// Keeps the screen on where the browser may: on encrypted pages and at the desk itself.
export function stayAwake(tell) {
  const ask = async () => {
    let isOn = true;
    try {
      await navigator.wakeLock.request("screen");
    } catch {
      isOn = false;
    }
    tell(isOn);
  };
  document.addEventListener("visibilitychange", () => document.hidden || ask());
  return ask();
}
