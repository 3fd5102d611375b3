
"use strict";
(() => {
const words = JSON.parse(document.getElementById("words").textContent);
const fill = (text, values) => text.replace(/\{(\w+)\}/g, (_, key) => values[key]);
const all = (selector, root = document) => [...root.querySelectorAll(selector)];
const leap = new Date(words.year, 1, 29).getMonth() === 1;
const days = leap ? 366 : 365;
const make = (name, text, className) => {
  const made = document.createElement(name);
  if (text) made.textContent = text;
  if (className) made.className = className;
  return made;
};
const dayText = date => fill(words.day, {day: date.getDate(), month: words.months[date.getMonth()]});
const textOf = number => dayText(new Date(words.year, 0, 1 + number));
const percent = number => fill(words.percent, {number});
const numberOf = date => Math.round(
  (Date.UTC(date.getFullYear(), date.getMonth(), date.getDate()) - Date.UTC(words.year, 0, 1)) / 864e5);

// ---------------------------------------------------------------- the reader's own day

const now = new Date();
const today = now.getFullYear() === words.year ? numberOf(now) : -1;
if (today >= 0) {
  const space = "http://www.w3.org/2000/svg";
  const at = `${(100 * (today + 0.5) / days).toFixed(2)}%`;
  const line = document.createElementNS(space, "line");
  for (const [key, value] of Object.entries({x1: at, x2: at, y2: "100%", class: "today"}))
    line.setAttribute(key, value);
  document.getElementById("grid").append(line);
  const months = document.getElementById("months");
  for (const name of months.children) name.setAttribute("y", 28);
  const flag = document.createElementNS(space, "text");
  const anchor = today < 40 ? "start" : today > days - 40 ? "end" : "middle";
  for (const [key, value] of Object.entries({x: at, y: 11, class: `today ${anchor}`}))
    flag.setAttribute(key, value);
  flag.textContent = fill(words.today, {day: dayText(now)});
  months.append(flag);
  document.documentElement.classList.add("has-today");
} else {
  const clock = document.getElementById("clock");
  const date = fill(words.dated, {day: dayText(now), year: now.getFullYear()});
  clock.textContent = fill(words.other_year, {year: words.year, today: date});
  clock.hidden = false;
}

// ---------------------------------------------------------------- odds and reason of a day

const chances = new WeakMap();
const chance = (row, day) => {
  if (!chances.has(row)) {
    chances.set(row, row.dataset.chance.split(" ").flatMap(run => {
      const [value, count] = run.split("*");
      return Array(Number(count || 1)).fill(Number(value));
    }));
  }
  return chances.get(row)[day];
};
const inside = (span, day) => {
  const from = Number(span.dataset.from), to = Number(span.dataset.to);
  return from <= to ? from <= day && day <= to : day >= from || day <= to;
};
const verdict = (row, day) => {
  const spans = all(".span", row);
  const around = spans.find(span => inside(span, day));
  const number = chance(row, day);
  const level = around ? words.safe : number >= 50 ? words.doubtful : words.unsafe;
  const kind = row.querySelector(".kind").textContent;
  let where = words.no_window;
  if (around) {
    where = fill(words.in_window, {span: around.textContent, chance: row.dataset.least});
  } else if (spans.length) {
    const ahead = span => (Number(span.dataset.from) - day + days) % days;
    const next = spans.reduce((one, other) => ahead(other) < ahead(one) ? other : one);
    where = fill(words.next_window, {span: next.textContent});
  }
  return {text: fill(words.chance_on, {kind, chance: percent(number), level}), where};
};
const rowsOf = article => all(".row[data-kind]", article).filter(row => !row.hidden);

const tell = (article, day) => {
  const slider = article.querySelector(".slider");
  const cursor = article.querySelector(".cursor");
  slider.value = day;
  cursor.hidden = false;
  cursor.style.left = `calc(var(--from) + (100% - var(--from) - var(--till)) * ${(day + 0.5) / days})`;
  const found = rowsOf(article).map(row => [row, verdict(row, day)]);
  slider.setAttribute("aria-valuetext",
    [textOf(day), ...found.map(([, {text, where}]) => `${text}; ${where}`)].join(". "));
  const box = article.querySelector(".day");
  box.replaceChildren(make("h3", textOf(day)));
  for (const [row, {text, where}] of found) {
    const kind = row.dataset.kind;
    const line = make("p");
    line.append(make("b", text), ` – ${where.replace(/\.$/, "")}.`);
    box.append(line);
    const reasons = all(`.reasons li[data-kind=${kind}] .why`, article).map(item => item.textContent);
    const limits = all(`.limits li[data-kind=${kind}] span`, article).map(item => item.textContent);
    if (reasons.length) {
      const why = make("p", `${words.why}: `, "quiet");
      const text = make("span", [...reasons, ...limits.map(limit => `(${limit})`)].join(" "));
      text.lang = "en";
      why.append(text);
      box.append(why);
    }
  }
  box.hidden = false;
};

for (const article of all("article")) {
  const rows = article.querySelector(".rows");
  const slider = make("input", "", "slider");
  Object.assign(slider, {type: "range", min: 0, max: days - 1, step: 1});
  slider.value = Math.max(today, 0);
  const taxon = article.querySelector("h2").textContent;
  slider.setAttribute("aria-label", fill(words.day_slider, {taxon}));
  slider.setAttribute("aria-valuetext", textOf(Math.max(today, 0)));
  const open = () => tell(article, Number(slider.value));
  slider.addEventListener("input", open);
  slider.addEventListener("click", open);
  slider.addEventListener("focus", () => { if (slider.matches(":focus-visible")) open(); });
  const cursor = make("div", "", "cursor");
  cursor.hidden = true;
  rows.append(slider, cursor);
  for (const row of all(".row[data-kind]", article)) {
    const kind = row.querySelector(".kind").textContent;
    for (const span of all(".span", row)) {
      const button = make("button", span.textContent, "span");
      button.type = "button";
      Object.assign(button.dataset, span.dataset);
      button.setAttribute("aria-label", fill(words.show_window, {kind, span: span.textContent}));
      const from = Number(span.dataset.from), to = Number(span.dataset.to);
      button.addEventListener("click", () => {
        tell(article, (from + Math.floor((to - from + days) % days / 2)) % days);
        slider.focus({preventScroll: true});
      });
      span.replaceWith(button);
    }
  }
}

// ---------------------------------------------------------------- the filter

const form = document.getElementById("filter");
const find = document.getElementById("find");
const boxes = all("input[name=work]", form);
const plain = text => text.normalize("NFD").replace(/\p{M}/gu, "").toLowerCase();
const apply = () => {
  const kinds = new Set(boxes.filter(box => box.checked).map(box => box.value));
  const wanted = plain(find.value).split(/\s+/).filter(Boolean);
  let number = 0;
  const articles = all("article");
  for (const article of articles) {
    const names = plain(article.dataset.find);
    article.hidden = !wanted.every(word => names.includes(word));
    number += article.hidden ? 0 : 1;
  }
  for (const item of all("[data-kind]")) item.hidden = !kinds.has(item.dataset.kind);
  for (const article of articles)
    if (!article.querySelector(".day").hidden)
      tell(article, Number(article.querySelector(".slider").value));
  document.getElementById("shown").textContent = number
    ? fill(words.shown, {number, all: articles.length}) : words.nothing_found;
};
const remember = () => {
  const parts = [];
  const kinds = boxes.filter(box => box.checked).map(box => box.value);
  if (kinds.length < boxes.length) parts.push(`work=${kinds.join(",")}`);
  if (find.value) parts.push(`taxon=${encodeURIComponent(find.value)}`);
  history.replaceState(null, "", `#${parts.join("&")}`);
};
const recall = () => {
  const asked = new URLSearchParams(location.hash.slice(1));
  const kinds = asked.get("work");
  for (const box of boxes) box.checked = kinds === null || kinds.split(",").includes(box.value);
  find.value = asked.get("taxon") || "";
  apply();
  const article = document.getElementById(asked.get("open") || "");
  const date = /^(\d{4})-(\d\d)-(\d\d)$/.exec(asked.get("day") || "");
  if (article && date && Number(date[1]) === words.year) {
    const day = numberOf(new Date(date[1], date[2] - 1, date[3]));
    if (day >= 0 && day < days) tell(article, day);
  }
};
form.addEventListener("input", () => { apply(); remember(); });
form.addEventListener("submit", event => event.preventDefault());
addEventListener("hashchange", recall);
recall();
form.hidden = false;
})();
