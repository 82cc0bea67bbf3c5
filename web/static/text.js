// Texts of the page's language, from the same catalogue as the templates.
const language = document.body.dataset.language || 'en';
// The catalogue of the same version as this script, which a browser may keep.
const version = new URL(import.meta.url).pathname.split('/').at(-2);
const answer = await fetch(/^v[0-9a-f]{12}$/.test(version) ? `/text/${language}.json?${version}` : `/text/${language}.json`);
// English texts are British, and so are their dates, as on the server's side.
const locale = language === 'en' ? 'en-GB' : language;
const texts = answer.ok ? await answer.json() : {};

// The reader's unit of short lengths: mm, or in for inches.
export const inches = document.body.dataset.unit === 'in';
const mmPerInch = 25.4;

// t gives the text of a key, with {name} replaced by what values has, and
// {unit} by the reader's.
export function t(key, values = {}) {
  let text = (texts[key] ?? key).replaceAll('{unit}', texts[inches ? 'unit.in' : 'unit.mm'] ?? '');
  for (const [name, value] of Object.entries(values)) text = text.replaceAll(`{${name}}`, String(value));
  return text;
}

// number writes a number as the page's language does.
export function number(value, decimals = 0) {
  return value.toLocaleString(locale, { minimumFractionDigits: decimals, maximumFractionDigits: decimals, useGrouping: false });
}

// length writes a length of so many mm in the reader's unit, as the service
// does; bare leaves the unit to what stands beside it.
export function length(mm, decimals = 0, bare = false) {
  const n = inches ? number(mm / mmPerInch, decimals + 2) : number(mm, decimals);
  return bare ? n : t('unit.length', { length: n });
}

// typed is what stands in a field for a length by hand: it is sent in the unit
// in which it was typed, and the service makes millimetres of it.
export const typed = (mm, inch) => inch || (mm && inches ? Number((mm / mmPerInch).toFixed(3)) : mm) || '';

// byHand writes such a length, with the unit beside it.
export const byHand = (mm, inch) => (inch && inches ? number(inch, 3) : length(inch ? inch * mmPerInch : mm, 1, true));

// inReader is how many mm the reader's unit has, and how many decimals a round
// number of them needs.
export const inReader = () => (inches ? { per: mmPerInch, decimals: 1 } : { per: 1, decimals: 0 });

// A place on a cane in a field: whole mm, or hundredths of an inch; and what is
// typed there, in mm.
export const placeStep = inches ? 0.01 : 1;
export const placeField = (mm) => (inches ? (mm / mmPerInch).toFixed(2) : String(Math.round(mm)));
export const placeTyped = (value) => Number(value) * (inches ? mmPerInch : 1);

// interval writes a measured length with its bounds; the unit stands beside it.
export function interval(q, decimals = 0) {
  if (!q || !(q.high > 0)) return t('value.none');
  return t('value.interval', { value: length(q.value, decimals, true), low: length(q.low, decimals, true), high: length(q.high, decimals, true) });
}

// said gives a sentence of an answer, which is in English, in the page's
// language: from the words that came with the answer.
export function said(answer, sentence) {
  return answer.words?.[sentence] ?? sentence;
}

// place names a place of a training form.
export function place(p) {
  return t(`place.${p.wire}.${p.direction}`);
}

// day writes a time as the reader's machine does.
export function day(when) {
  return new Date(when).toLocaleString(locale, { dateStyle: 'medium', timeStyle: 'short' });
}
