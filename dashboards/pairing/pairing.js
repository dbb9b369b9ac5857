// Keeps code and list fresh: a device that has just been paired appears by itself.

import { refresh } from "../look/shared.js";

const EVERY_MS = 4000;

setInterval(() => {
  if (!document.hidden) refresh(new URL("/pairing", location.href)).catch(() => undefined);
}, EVERY_MS);
