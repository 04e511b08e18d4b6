// The page's words, from the catalogue that all pages share.

const words = await (await fetch("/texts.json")).json();
document.documentElement.lang = (words._locale ?? "en").replace("xx-rtl", "en-x-pseudo");
document.documentElement.dir = words._dir ?? "ltr";

/** The text of a key, with values in place of what stands in braces. */
export function text(key, values = {}) {
  return (words[key] ?? key).replace(/\{(\w+)\}/g, (whole, name) => values[name] ?? whole);
}

/** The same of a text with a form for each plural of the language (CLDR, through ECMA-402). */
export function counted(key, count, values = {}) {
  const form = `${key}.${new Intl.PluralRules(document.documentElement.lang).select(count)}`;
  return text(form in words ? form : `${key}.other`, values);
}

/** Fills every element that names a key. */
export function fill(root = document) {
  for (const element of root.querySelectorAll("[data-text]")) {
    element.textContent = text(element.dataset.text);
  }
  for (const element of root.querySelectorAll("[data-label]")) {
    element.setAttribute("aria-label", text(element.dataset.label));
  }
}

/** JSON from the server; a refusal becomes an error that bears its sentence. */
export async function asked(address, options) {
  const answer = await fetch(address, options);
  const body = await answer.json().catch(() => ({}));
  if (!answer.ok) throw new Error(body.findings?.[0]?.sentence ?? text("display.refused"));
  return body;
}
