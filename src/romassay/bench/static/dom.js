// Elements from words: text is always text, never markup, whatever a log held.

export function h(name, attributes = {}, ...children) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (value === null || value === undefined || value === false) continue;
    if (key.startsWith("on")) made.addEventListener(key.slice(2), value);
    else if (key === "class") made.className = value;
    else made.setAttribute(key, value === true ? "" : value);
  }
  for (const child of children.flat()) if (child !== null && child !== undefined) made.append(child);
  return made;
}

export function fill(place, ...children) {
  place.replaceChildren(...children.flat().filter((child) => child !== null && child !== undefined));
}

export const byId = (id) => document.getElementById(id);

export function hex(value, digits) {
  return value.toString(16).toUpperCase().padStart(digits, "0");
}

export function plural(count, noun) {
  return `${count} ${noun}${count === 1 ? "" : "s"}`;
}

export function size(count) {
  return count && count % 1024 === 0 ? `${count / 1024} KiB` : plural(count, "byte");
}

export function notice(text) {
  const place = byId("notice");
  place.textContent = text;
  place.hidden = !text;
}
