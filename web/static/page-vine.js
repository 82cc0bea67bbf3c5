// What a person says of a vine over its winters: masses, and what canes grew
// from. The page is loaded anew after each, since much follows from it.
import { post } from './net.js';

const $ = (id) => document.getElementById(id);
const years = $('years');
const say = (kind, payload, cane = 0) => post(years.dataset.say, { winter: years.dataset.winter, kind, cane, payload });

$('masses').addEventListener('submit', async (event) => {
  event.preventDefault();
  $('mass-fault').textContent = '';
  try {
    for (const kind of ['prunings', 'harvest']) {
      const { value, defaultValue } = $(kind);
      if (value !== defaultValue) await say(kind, value === '' ? null : { kg: Number(value) });
    }
    location.reload();
  } catch (e) { $('mass-fault').textContent = e.message; }
});

for (const select of document.querySelectorAll('.descent')) {
  select.addEventListener('change', async () => {
    $('descent-fault').textContent = '';
    const [from, parent, winter] = select.value.split(' ');
    try {
      await say('descent', select.value ? { from, parent: Number(parent), parent_winter: winter || '' } : null, Number(select.dataset.cane));
      location.reload();
    } catch (e) { $('descent-fault').textContent = e.message; }
  });
}
years.dataset.ready = 'yes';
