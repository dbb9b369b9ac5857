"""Measurements inside a page: contrast, names, headings, sizes. Each returns a list of complaints."""

# Contrast as in WCAG 2.2, "contrast ratio" and "relative luminance"; the text's own ground is the nearest opaque one.
CONTRAST = """() => {
  const parse = (text) => {
    const parts = text.match(/[\\d.]+/g).map(Number);
    return { rgb: parts.slice(0, 3), alpha: parts.length > 3 ? parts[3] : 1 };
  };
  const linear = (part) => (part / 255 <= 0.04045 ? part / 255 / 12.92 : ((part / 255 + 0.055) / 1.055) ** 2.4);
  const luminance = (rgb) => 0.2126 * linear(rgb[0]) + 0.7152 * linear(rgb[1]) + 0.0722 * linear(rgb[2]);
  const complaints = [];
  const seen = new Set();
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    const element = walker.currentNode.parentElement;
    if (!walker.currentNode.data.trim() || seen.has(element) || !element.checkVisibility()) continue;
    if (element.closest(".unseen, script, style, template")) continue;
    seen.add(element);
    const style = getComputedStyle(element);
    let ground = element;
    while (ground && parse(getComputedStyle(ground).backgroundColor).alpha < 1) {
      if (getComputedStyle(ground).backgroundImage !== "none") complaints.push(`pattern under ${walker.currentNode.data}`);
      ground = ground.parentElement;
    }
    if (ground && getComputedStyle(ground).backgroundImage !== "none") complaints.push(`pattern under ${walker.currentNode.data.trim()}`);
    const [text, under] = [style.color, getComputedStyle(ground || document.documentElement).backgroundColor].map((c) => luminance(parse(c).rgb));
    const ratio = (Math.max(text, under) + 0.05) / (Math.min(text, under) + 0.05);
    const size = parseFloat(style.fontSize);
    const large = size >= 24 || (size >= 18.66 && Number(style.fontWeight) >= 700);
    if (ratio < (large ? 3 : 4.5)) complaints.push(`${ratio.toFixed(2)}:1 ${walker.currentNode.data.trim().slice(0, 40)}`);
  }
  if (seen.size < 5) complaints.push("hardly any text was measured");
  return complaints;
}"""

NAMES = """() => {
  const complaints = [];
  const text = (ids) => ids.split(" ").map((id) => document.getElementById(id)?.textContent ?? "").join(" ").trim();
  const name = (element) => element.ariaLabel || text(element.getAttribute("aria-labelledby") || "") ||
    [...(element.labels || [])].map((label) => label.textContent).join(" ").trim() || element.textContent.trim();
  const visible = (selector) => [...document.querySelectorAll(selector)].filter((element) => element.checkVisibility());
  for (const element of visible("a, button, input, select, audio, dialog, canvas, fieldset, [role=img], [role=meter], [role=region], nav"))
    if (!name(element)) complaints.push(`no name: ${element.outerHTML.slice(0, 80)}`);
  for (const picture of document.querySelectorAll("svg"))
    if (picture.ariaHidden !== "true" && picture.getAttribute("role") !== "img") complaints.push(`svg: ${picture.outerHTML.slice(0, 80)}`);
  for (const attribute of ["aria-labelledby", "aria-describedby", "for"])
    for (const element of document.querySelectorAll(`[${attribute}]`))
      for (const id of element.getAttribute(attribute).split(" "))
        if (!document.getElementById(id)) complaints.push(`${attribute} names no ${id}`);
  const ids = [...document.querySelectorAll("[id]")].map((element) => element.id);
  for (const id of ids) if (ids.indexOf(id) !== ids.lastIndexOf(id)) complaints.push(`id twice: ${id}`);
  if (!document.documentElement.lang) complaints.push("no lang");
  for (const landmark of ["header", "nav", "main", "footer"])
    if (document.querySelectorAll(landmark).length < 1) complaints.push(`no ${landmark}`);
  if (document.querySelectorAll("main, h1").length !== 2) complaints.push("not one main and one h1");
  let before = 0;
  for (const heading of document.querySelectorAll("h1, h2, h3, h4")) {
    const level = Number(heading.tagName[1]);
    if (level > before + 1) complaints.push(`heading skips to ${heading.textContent}`);
    before = level;
  }
  if (document.querySelector("[tabindex]:not([tabindex='0']):not([tabindex='-1'])")) complaints.push("tab order forced");
  if (document.querySelector("[style]:not(#level), [onclick]")) complaints.push("style or handler in the markup");
  return complaints;
}"""

# 12 mm is 45.4 CSS pixels by definition; a phone's pixel is about 0.16 mm of real glass, so 12 mm are about 76 there.
TARGETS = """(least) => {
  const complaints = [];
  for (const element of document.querySelectorAll("button, .button, .choice span, summary, nav a, .cut-card")) {
    if (!element.checkVisibility()) continue;
    const box = element.getBoundingClientRect();
    if (box.height < least - 0.5 || box.width < Math.min(least, 60)) complaints.push(`${box.width}x${box.height} ${element.textContent.trim()}`);
  }
  return complaints;
}"""

SIDEWAYS = "() => document.documentElement.scrollWidth - document.documentElement.clientWidth"

# Text that sticks out of its box, and boxes that leave the screen.
SPILLS = """() => [...document.querySelectorAll("main *")].filter((element) => {
  if (!element.checkVisibility() || element.closest(".unseen, .scroll, svg, audio")) return false;
  const box = element.getBoundingClientRect();
  const inner = element.scrollWidth - element.clientWidth > 1 && getComputedStyle(element).display !== "inline";
  return box.right > innerWidth + 1 || box.left < -1 || inner;
}).map((element) => element.outerHTML.slice(0, 100))"""
