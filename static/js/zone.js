// First run: the time zone this device keeps, until somebody writes another.
export function start() {
  const field = document.querySelector("[data-own-zone] input");
  // What came back with a fault was written by somebody; UTC is what a device says that was never told.
  if (!field || field.value !== field.defaultValue || document.querySelector(".refusal")) return;
  const own = Intl.DateTimeFormat().resolvedOptions().timeZone;
  if (own && own !== "UTC") field.value = own;
}
