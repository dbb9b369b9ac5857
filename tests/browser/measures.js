// Measurements inside a page; each returns a list of complaints.

({
  // Contrast ratio and relative luminance as in WCAG 2.2; the ground of a text is the nearest opaque one.
  contrast() {
    const parse = (text) => {
      const parts = text.match(/[\d.]+/g).map(Number);
      return { rgb: parts.slice(0, 3), alpha: parts.length > 3 ? parts[3] : 1 };
    };
    const bend = (part) => (part <= 0.04045 ? part / 12.92 : ((part + 0.055) / 1.055) ** 2.4);
    const luminance = ({ rgb }) => [0.2126, 0.7152, 0.0722].reduce((sum, weight, at) => sum + weight * bend(rgb[at] / 255), 0);
    const patterned = (element) => getComputedStyle(element).backgroundImage !== "none";
    const complaints = [];
    const seen = new Set();
    const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
    while (walker.nextNode()) {
      const text = walker.currentNode.data.trim().slice(0, 40);
      const element = walker.currentNode.parentElement;
      if (!text || seen.has(element) || !element.checkVisibility()) continue;
      if (element.closest(".unseen, .skip, script, style, template")) continue;
      seen.add(element);
      const style = getComputedStyle(element);
      let ground = element;
      while (ground.parentElement && !patterned(ground) && parse(getComputedStyle(ground).backgroundColor).alpha < 1)
        ground = ground.parentElement;
      if (patterned(ground)) complaints.push(`on a pattern: ${text}`);
      const [front, back] = [style.color, getComputedStyle(ground).backgroundColor].map(parse).map(luminance);
      const ratio = (Math.max(front, back) + 0.05) / (Math.min(front, back) + 0.05);
      const size = parseFloat(style.fontSize);
      const large = size >= 24 || (size >= 18.66 && Number(style.fontWeight) >= 700);
      if (ratio < (large ? 3 : 4.5)) complaints.push(`${ratio.toFixed(2)}:1 ${text}`);
    }
    if (seen.size < 5) complaints.push("hardly any text was measured");
    return complaints;
  },

  // Names, references, landmarks and headings, as a screen reader needs them.
  names() {
    const complaints = [];
    const all = (selector) => [...document.querySelectorAll(selector)];
    const text = (ids) => ids.split(" ").map((id) => document.getElementById(id)?.textContent ?? "").join(" ").trim();
    const labels = (element) => [...(element.labels || [])].map((label) => label.textContent).join(" ").trim();
    const name = (element) =>
      element.ariaLabel || text(element.getAttribute("aria-labelledby") || "") || labels(element) ||
      (element.matches("fieldset") ? element.querySelector("legend")?.textContent : element.textContent.trim());
    const named = "a, button, input, select, audio, dialog, canvas, fieldset, nav, [role=img], [role=meter], [role=region]";
    for (const element of all(named))
      if (element.checkVisibility() && !element.closest("[aria-hidden=true]") && !name(element)) complaints.push(`no name: ${element.outerHTML.slice(0, 80)}`);
    for (const picture of all("svg"))
      if (picture.ariaHidden !== "true" && !picture.matches("[role=img], [role=group][aria-label]")) complaints.push("a picture is neither hidden nor named");
    for (const attribute of ["aria-labelledby", "aria-describedby", "for"])
      for (const element of all(`[${attribute}]`))
        for (const id of element.getAttribute(attribute).split(" "))
          if (!document.getElementById(id)) complaints.push(`${attribute} names no ${id}`);
    const ids = all("[id]").map((element) => element.id);
    complaints.push(...ids.filter((id, at) => ids.indexOf(id) !== at).map((id) => `id twice: ${id}`));
    if (!document.documentElement.lang) complaints.push("no language");
    for (const landmark of ["header", "nav", "main", "footer", "h1"])
      if (!all(landmark).length) complaints.push(`no ${landmark}`);
    if (all("main").length + all("h1").length !== 2) complaints.push("not one main and one h1");
    all("h1, h2, h3, h4").reduce((before, heading) => {
      if (Number(heading.tagName[1]) > before + 1) complaints.push(`heading skips to ${heading.textContent}`);
      return Number(heading.tagName[1]);
    }, 0);
    if (all("[tabindex]:not([tabindex='0']):not([tabindex='-1'])").length) complaints.push("the tab order is forced");
    if (all("[style]:not(#level), [onclick]").length) complaints.push("a style or a handler in the markup");
    return complaints;
  },

  // 12 mm are 45.4 CSS pixels by definition; of a phone's real glass, at about 160 pixels an inch, they are about 76.
  targets(least) {
    const complaints = [];
    for (const element of document.querySelectorAll("button, .button, .choice span, summary, nav a, .cut-card")) {
      if (!element.checkVisibility()) continue;
      const { width, height } = element.getBoundingClientRect();
      if (Math.min(width, height) < least - 0.5) complaints.push(`${width} x ${height}: ${element.textContent.trim()}`);
    }
    return complaints;
  },

  // How far the page can be pushed sideways, boxes that leave the screen, texts that stick out of their boxes.
  spills() {
    const { scrollWidth, clientWidth } = document.documentElement;
    const complaints = scrollWidth > clientWidth ? [`the page is ${scrollWidth - clientWidth} too wide`] : [];
    for (const element of document.querySelectorAll("main *")) {
      if (!element.checkVisibility() || element.closest(".unseen, .scroll, .choice, svg, audio")) continue;
      const box = element.getBoundingClientRect();
      const inner = element.scrollWidth - element.clientWidth > 1 && getComputedStyle(element).display !== "inline";
      if (box.right > innerWidth + 1 || box.left < -1 || inner) complaints.push(element.outerHTML.slice(0, 100));
    }
    return complaints;
  },

  // Width of the state word beyond its place.
  excess() {
    const word = document.getElementById("state-word");
    const range = document.createRange();
    range.selectNodeContents(word);
    return range.getBoundingClientRect().width - word.clientWidth;
  },

  // Number of colours in the upper left of the spectrum.
  colours() {
    const pen = document.getElementById("drawing").getContext("2d");
    return new Set(new Uint32Array(pen.getImageData(0, 0, 300, 300).data.buffer)).size;
  },

  // Every state word from now on, and how often the live regions spoke.
  watch() {
    const all = { childList: true, characterData: true, subtree: true };
    const word = document.getElementById("state-word");
    window.words = [word.textContent];
    window.said = 0;
    new MutationObserver(() => window.words.push(word.textContent)).observe(word, all);
    for (const id of ["say-now", "say-calm"])
      new MutationObserver(() => (window.said += 1)).observe(document.getElementById(id), all);
  },

  // Where the numbers of stray tones are put.
  async placed([marks, wide]) {
    const script = document.querySelector("script[src*='now/now.js']").src;
    const { place } = await import(new URL("labels.js", script).href);
    return place(marks, wide);
  },

  ground() {
    const parts = getComputedStyle(document.body).backgroundColor.match(/\d+/g);
    return parts.reduce((sum, part) => sum + Number(part), 0);
  },

  showState([state, word]) {
    document.body.dataset.state = state;
    document.getElementById("state-word").textContent = word;
  },

  hide(hidden) {
    Object.defineProperty(document, "hidden", { configurable: true, get: () => hidden });
    document.dispatchEvent(new Event("visibilitychange"));
  },
})
