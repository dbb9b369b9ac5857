// What every page's script needs: numbers with the digits they deserve, requests, and fragments made by the server.

const NONE = "–";
const shapesAddress = new URL("shapes.svg", import.meta.url).pathname;

export const grouped = (value, digits = 4) => {
  if (!Number.isFinite(value)) return NONE;
  const size = value ? Math.floor(Math.log10(Math.abs(value))) + 1 : 1;
  const unit = 10 ** Math.max(0, size - digits);
  const whole = Math.round(value / unit) * unit;
  return String(Math.round(whole)).replace(/\B(?=(\d{3})+$)/g, "\u202f").replace("-", "−");
};

export const clock = (seconds) => {
  if (!Number.isFinite(seconds)) return NONE;
  const total = Math.floor(Math.max(seconds, 0));
  const two = (number) => String(number).padStart(2, "0");
  const [hours, minutes] = [Math.floor(total / 3600), Math.floor(total / 60) % 60];
  return hours ? `${hours}:${two(minutes)}:${two(total % 60)}` : `${minutes}:${two(total % 60)}`;
};

export const decibels = (level) => (Number.isFinite(level) ? `${Math.round(level)}\u00a0dB`.replace("-", "−") : NONE);

export const timeOfDay = (date) => date.toLocaleTimeString("en-GB");

export const localDate = (date) => date.toLocaleDateString("sv-SE");

export const setupWords = (rpm, flutes) => {
  const speed = rpm ? `${grouped(rpm, 6)}\u00a0rpm` : "";
  const teeth = flutes ? `${flutes}\u00a0${flutes === 1 ? "flute" : "flutes"}` : "";
  return [speed, teeth].filter(Boolean).join(" · ") || "Set speed and flutes";
};

export const shape = (svg, name) => svg.querySelector("use").setAttribute("href", `${shapesAddress}#${name}`);

// Writing the same text again would make a screen reader say it again, and costs layout.
export const say = (element, text) => {
  if (element.textContent !== text) element.textContent = text;
};

// The monitor may not know the reader's time zone; the browser does.
export const localTimes = (root = document) => {
  for (const element of root.querySelectorAll("time[datetime]")) {
    const date = new Date(element.dateTime);
    if (Number.isNaN(date.getTime())) continue;
    element.textContent = "short" in element.dataset ? timeOfDay(date) : `${localDate(date)} ${timeOfDay(date)}`;
  }
};

export const request = async (address, body, method = body === undefined ? "GET" : "POST") => {
  let response;
  const sent = body === undefined ? {} : { headers: { "Content-Type": "application/json" }, body: JSON.stringify(body) };
  try {
    response = await fetch(address, { method, ...sent, signal: AbortSignal.timeout(8000) });
  } catch {
    throw new Error("The monitor did not answer. Wait until this screen is connected, then touch again.");
  }
  const answer = await response.json().catch(() => ({}));
  if (response.ok) return answer;
  throw new Error([answer.error || `The monitor refused (${response.status}).`, answer.hint].filter(Boolean).join(" "));
};

// Replace each part marked data-live by the one the server makes now, unless someone is using it.
export const refresh = async (address = location.href) => {
  const response = await fetch(address, { signal: AbortSignal.timeout(8000), cache: "no-store" });
  if (!response.ok) throw new Error(String(response.status));
  const made = new DOMParser().parseFromString(await response.text(), "text/html");
  localTimes(made);
  for (const part of document.querySelectorAll("[data-live]")) {
    const fresh = made.getElementById(part.id);
    const inUse = part.contains(document.activeElement) || part.querySelector("audio");
    if (fresh && !inUse && fresh.innerHTML !== part.innerHTML) part.replaceChildren(...fresh.childNodes);
  }
  return made;
};

localTimes();
