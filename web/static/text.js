// Texts of the page's language, from the same catalogue as the templates.
const language = document.body.dataset.language || 'en';
// The catalogue of the same version as this script, which a browser may keep.
const version = new URL(import.meta.url).pathname.split('/').at(-2);
const answer = await fetch(/^v[0-9a-f]{12}$/.test(version) ? `/text/${language}.json?${version}` : `/text/${language}.json`);
// English texts are British, and so are their dates, as on the server's side.
const locale = language === 'en' ? 'en-GB' : language;
const texts = answer.ok ? await answer.json() : {};

// t gives the text of a key, with {name} replaced by what values has.
export function t(key, values = {}) {
  let text = texts[key] ?? key;
  for (const [name, value] of Object.entries(values)) text = text.replaceAll(`{${name}}`, String(value));
  return text;
}

// number writes a number as the page's language does.
export function number(value, decimals = 0) {
  return value.toLocaleString(locale, { minimumFractionDigits: decimals, maximumFractionDigits: decimals, useGrouping: false });
}

// interval writes a measured value with its bounds; the unit stands beside it.
export function interval(q, decimals = 0) {
  if (!q || !(q.high > 0)) return t('value.none');
  return t('value.interval', { value: number(q.value, decimals), low: number(q.low, decimals), high: number(q.high, decimals) });
}

// day writes a time as the reader's machine does.
export function day(when) {
  return new Date(when).toLocaleString(locale, { dateStyle: 'medium', timeStyle: 'short' });
}
