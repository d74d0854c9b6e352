// What a reader of a page would miss, measured in the browser. Each function returns lines of text.
({
  // A short selector by which a person finds the element.
  name(element) {
    const own = (e) =>
      e.localName + (e.id ? "#" + e.id : "") + [...e.classList].map((c) => "." + c).join("");
    const text = element.textContent.trim().replace(/\s+/g, " ").slice(0, 40);
    const above = element.parentElement ? own(element.parentElement) + " > " : "";
    return above + own(element) + (text ? ` "${text}"` : "");
  },

  // Whether something between the element and the page scrolls sideways, so that it is reached.
  reached(element) {
    for (let e = element.parentElement; e && e !== document.body; e = e.parentElement) {
      if (["auto", "scroll"].includes(getComputedStyle(e).overflowX)) return true;
    }
    return false;
  },

  // What is cut, or sticks out of the page or of its cell.
  cut() {
    const found = [];
    const root = document.documentElement;
    const wide = root.clientWidth;
    if (root.scrollWidth > wide) found.push(`the page: ${root.scrollWidth} px in ${wide} px`);
    for (const e of document.body.querySelectorAll("*")) {
      const style = getComputedStyle(e);
      const box = e.getBoundingClientRect();
      if (box.width <= 1 || box.height <= 1) continue; // kept for screen readers alone
      const hides = (value) => value === "hidden" || value === "clip";
      if (hides(style.overflowX) && e.scrollWidth > e.clientWidth + 1)
        found.push(`${this.name(e)}: ${e.scrollWidth} px wide, ${e.clientWidth} px shown`);
      if (hides(style.overflowY) && e.scrollHeight > e.clientHeight + 1)
        found.push(`${this.name(e)}: ${e.scrollHeight} px high, ${e.clientHeight} px shown`);
      const outer = e.parentElement.getBoundingClientRect(); // told once, of the outermost
      if (box.right > wide + 1 && box.left < wide && outer.right <= wide + 1 && !this.reached(e))
        found.push(`${this.name(e)}: ends at ${Math.round(box.right)} px of ${wide} px`);
      if (e.localName !== "td" && e.localName !== "th") continue;
      const range = document.createRange();
      range.selectNodeContents(e);
      const ends = [...range.getClientRects()].filter((r) => r.width > 1);
      const over = Math.max(0, ...ends.map((r) => Math.max(r.right - box.right, box.left - r.left)));
      if (over > 1) found.push(`${this.name(e)}: ${Math.round(over)} px outside of its cell`);
    }
    return found;
  },

  // What has to be scrolled sideways to be read, and what makes it so; code and formulas may.
  sideways() {
    return [...document.body.querySelectorAll("*")]
      .filter((e) => !["pre", "math"].includes(e.localName) && !e.querySelector(":scope > math"))
      .filter((e) => ["auto", "scroll"].includes(getComputedStyle(e).overflowX))
      .filter((e) => e.scrollWidth > e.clientWidth + 1)
      .map((e) => `${this.name(this.widest(e))}: ${e.scrollWidth} px wide, ${e.clientWidth} px shown`);
  },

  widest(element) {
    const wide = (e) => e.getBoundingClientRect().width;
    return [...element.querySelectorAll("table, math, img, svg")].reduce(
      (one, other) => (wide(other) > wide(one) ? other : one),
      element.firstElementChild || element,
    );
  },

  // Long tables, wider than a phone, whose heads are out of sight in their middle; where a table is
  // shown as cards, without its head, each cell has to say what it is.
  headless() {
    const found = [];
    for (const table of document.querySelectorAll("table")) {
      const box = table.getBoundingClientRect();
      if (box.height < 1.5 * innerHeight) continue;
      scrollTo(0, box.top + scrollY + (box.height - innerHeight) / 2);
      const cells = table.tHead ? [...table.tHead.querySelectorAll("th, td")] : [];
      const tops = cells
        .map((cell) => cell.getBoundingClientRect())
        .filter((at) => at.width > 1 && at.height > 1 && at.right > 0);
      const lost = tops.filter((at) => at.top < -1 || at.bottom > innerHeight + 1);
      const bare = tops.length ? [] : this.unlabelled(table);
      if (lost.length && box.width > 390)
        found.push(`${this.name(table)}: its head is at ${Math.round(lost[0].top)} px`);
      if (bare.length)
        found.push(`${this.name(table)}: ${bare.length} cells without a label: ${this.name(bare[0])}`);
      scrollTo(0, 0);
    }
    return found;
  },

  unlabelled(table) {
    const label = (cell) => getComputedStyle(cell, "::before").content.replace(/^(none|normal|"")$/, "");
    return [...table.querySelectorAll("tbody td")].filter((cell) => cell.textContent.trim() && !label(cell));
  },

  // Whatever could run.
  scripts() {
    const found = [...document.querySelectorAll("script")].map((e) => this.name(e));
    for (const e of document.querySelectorAll("*"))
      for (const { name, value } of e.attributes)
        if (name.startsWith("on") || /^\s*javascript:/i.test(value))
          found.push(`${this.name(e)}: ${name}`);
    return found;
  },

  texts(selector) {
    return [...document.querySelectorAll(selector)].map((e) => e.textContent.replace(/\s+/g, " ").trim());
  },
})
