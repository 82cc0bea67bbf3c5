// What a block is judged by and pruned to. Each changed limit shows at once what
// it would do; the service reckons it.
import { get, post } from './net.js';
import { t, number } from './text.js';

const $ = (id) => document.getElementById(id);
const form = $('rules');
const address = `/api/blocks/${form.dataset.block}/rules`;
const fields = [...document.querySelectorAll('.limit')].map((f) => f.dataset.key);
let view = await get(address);
let asked = 0;

function fillSets() {
  const sets = view.rule_sets.map((s) => new Option(`${s.name}@${s.version}`, `${s.name}@${s.version}`));
  $('pick-set').replaceChildren(...sets);
  $('pick-set').value = `${view.rule_set.name}@${view.rule_set.version}`;
}

// show puts a rule set into the fields.
function show(rules) {
  $('name').value = rules.name;
  for (const key of fields) {
    $(`limit-${key}`).value = rules[key].limit;
    $(`meaning-${key}`).value = rules[key].meaning;
    $(`source-${key}`).value = rules[key].source;
    document.querySelector(`.limit[data-key=${key}] .meaning`).textContent = rules[key].meaning;
  }
}

// entered is the rule set as it stands in the fields.
function entered() {
  const rules = { name: $('name').value.trim(), version: view.rule_set.version };
  for (const key of fields) {
    rules[key] = { limit: Number($(`limit-${key}`).value), unit: view.rule_set[key].unit, meaning: $(`meaning-${key}`).value.trim(), source: $(`source-${key}`).value.trim() };
  }
  return rules;
}

const count = (n, more, fewer) => (n > 0 ? t(more, { n }) : t(fewer, { n: -n }));
const digits = (v) => number(v, Number.isInteger(v) ? 0 : 1);

function effectOf(e) {
  const change = t('rules.effect', { was: digits(e.was), now: digits(e.now), unit: e.unit });
  if (!e.judges) return `${change} ${t('rules.effect.choice')}`;
  if (!e.canes) return `${change} ${t('rules.nocanes')}`;
  const what = [];
  if (e.more) what.push(count(e.more, 'rules.effect.more', 'rules.effect.fewer'));
  if (e.closer) what.push(count(e.closer, 'rules.effect.closer', 'rules.effect.lessclose'));
  if (!what.length) return `${change} ${t('rules.effect.none', { all: e.canes })}`;
  return `${change} ${t('rules.effect.of', { what: what.join('; '), all: e.canes })}`;
}

async function preview() {
  const mine = ++asked;
  $('fault').textContent = '';
  $('done').textContent = '';
  for (const key of fields) $(`effect-${key}`).textContent = '';
  $('effect').textContent = '';
  if (!form.reportValidity()) return;
  try {
    const p = await post(`${address}/preview`, { rule_set: entered() });
    if (mine !== asked) return; // a later change was asked meanwhile
    for (const e of p.each) $(`effect-${e.name}`).textContent = effectOf(e);
    if (p.each.length) $('effect').textContent = t('rules.effect.all', { n: p.effect.changed, all: p.effect.canes, winter: p.winter });
  } catch (e) {
    if (mine === asked) $('fault').textContent = e.message;
  }
}

async function fileOf(input) {
  const file = input.files[0];
  input.value = '';
  return file && { name: file.name, text: await file.text() };
}

form.addEventListener('change', (event) => {
  if (event.target.closest('.limit') || event.target.id === 'name') preview();
});
$('pick-set').addEventListener('change', () => {
  show(view.rule_sets.find((s) => `${s.name}@${s.version}` === $('pick-set').value));
  preview();
});
$('import').addEventListener('change', async () => {
  $('import-fault').textContent = '';
  const file = await fileOf($('import'));
  if (!file) return;
  try {
    const read = await post('/api/rule-sets/read', file);
    show(read.rule_set);
    await preview();
    $('done').textContent = t('rules.imported', { file: file.name });
  } catch (e) { $('import-fault').textContent = e.message; }
});
// A training form from a file becomes one more to choose from.
let own = null;
$('form-import').addEventListener('change', async () => {
  $('form-fault').textContent = $('form-read').textContent = '';
  const file = await fileOf($('form-import'));
  if (!file) return;
  try {
    own = (await post('/api/forms/read', file)).form;
    $('own-form')?.closest('label').remove();
    const label = Object.assign(document.createElement('label'), { className: 'pick' });
    const input = Object.assign(document.createElement('input'), { type: 'radio', name: 'form', value: 'own', id: 'own-form', checked: true });
    label.append(input, Object.assign(document.createElement('span'), { textContent: `${own.title} (${own.name}@${own.version})` }));
    $('forms').append(label);
    $('form-read').textContent = t('rules.imported', { file: file.name });
  } catch (e) { $('form-fault').textContent = e.message; }
});
$('table').addEventListener('change', async () => {
  $('table-fault').textContent = '';
  const file = await fileOf($('table'));
  if (!file) return;
  try {
    await post('/api/descriptor-tables', file);
    location.reload();
  } catch (e) { $('table-fault').textContent = e.message; }
});
form.addEventListener('submit', async (event) => {
  event.preventDefault();
  $('fault').textContent = '';
  const chosen = new FormData(form).get('form');
  try {
    const kept = await post(address, {
      after: view.seq, rule_set: entered(), training_form: chosen === 'own' ? view.training_form : chosen, form: chosen === 'own' ? own : null, winter: $('winter').value.trim(),
      variety: $('variety').value, spacing_m: Number($('spacing').value), divided: $('divided').checked, formula: $('formula').value,
      wood: { low: Number($('wood-low').value), high: Number($('wood-high').value), source: $('wood-source').value.trim() }, whole_variety: $('all').checked,
    });
    view = kept.rules;
    fillSets();
    show(view.rule_set);
    await preview();
    $('rule-set').textContent = form.dataset.version = `${view.rule_set.name}@${view.rule_set.version}`;
    $('done').textContent = t('rules.saved', { rules: $('rule-set').textContent, n: kept.blocks });
  } catch (e) { $('fault').textContent = e.message; }
});
fillSets();
form.dataset.ready = 'yes';
