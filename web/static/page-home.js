// The start page fills in the vine that comes next, so that a photo is two taps
// away; row and number are changed by large buttons.
import { blocks, following, last } from './walk.js';
import { t } from './text.js';

const $ = (id) => document.getElementById(id);
const form = $('go');

if (form) {
  const list = await blocks();
  const block = () => list.find((b) => b.id === Number($('go-block').value));
  const most = { 'go-row': () => block()?.rows || Infinity, 'go-vine': () => block()?.vines_per_row || Infinity };

  const show = () => {
    const [row, vine] = [$('go-row').value, $('go-vine').value];
    $('go-photo').textContent = row && vine ? t('walk.photo', { row, vine }) : t('walk.photo.any');
  };
  const set = (at) => {
    $('go-block').value = at.block;
    $('go-row').value = at.row;
    $('go-vine').value = at.vine;
  };

  const at = last();
  const then = at && following(at, list.find((b) => b.id === at.block));
  const here = [...($('go-block').options || [$('go-block')])].map((o) => Number(o.value));
  if (then && here.includes(then.block)) {
    set(then);
    $('go-after').textContent = t('walk.after', { row: at.row, vine: at.vine });
  } else if (!$('go-row').value) set({ block: $('go-block').value, row: 1, vine: 1 });

  for (const b of form.querySelectorAll('[data-step]')) {
    b.addEventListener('click', () => {
      const input = $(b.dataset.of);
      input.value = Math.min(most[b.dataset.of](), Math.max(1, (Number(input.value) || 0) + Number(b.dataset.step)));
      show();
    });
  }
  form.addEventListener('input', show);
  // Without signal nobody answers the form: the page goes there itself.
  form.addEventListener('submit', (event) => {
    event.preventDefault();
    const path = `/blocks/${$('go-block').value}/${Number($('go-row').value)}/${Number($('go-vine').value)}`;
    location.assign(event.submitter?.value === 'photo' ? `${path}/photo` : path);
  });
  show();
}
document.body.dataset.ready = 'yes';
