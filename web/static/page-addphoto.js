import { upload, key } from './net.js';
import { t } from './text.js';

const $ = (id) => document.getElementById(id);
const form = $('addphoto');
let file = null;
let sendKey = '';

function choose(input) {
  if (!input.files.length) return;
  file = input.files[0];
  sendKey = key();
  input.value = '';
  URL.revokeObjectURL($('preview').src);
  $('preview').src = URL.createObjectURL(file);
  show('chosen');
  $('fault').textContent = '';
  $('send').focus();
}

function show(part) {
  for (const id of ['pickers', 'chosen', 'sending']) $(id).hidden = id !== part;
}

$('take').addEventListener('change', (e) => choose(e.target));
$('choose').addEventListener('change', (e) => choose(e.target));
// What was chosen before this script ran isn't forgotten.
for (const id of ['take', 'choose']) choose($(id));
$('other').addEventListener('click', () => show('pickers'));
form.addEventListener('submit', async (event) => {
  event.preventDefault();
  if (!file) return;
  show('sending');
  const body = new FormData();
  body.append('winter', $('winter').value);
  body.append('photo', file, file.name || 'photo.jpg');
  try {
    const state = await upload(form.dataset.upload, body, sendKey, (share) => {
      $('bar').value = share * 100;
      $('sending-text').textContent = share < 1 ? t('addphoto.sending', { percent: Math.floor(share * 100) }) : t('addphoto.sent');
    }, (seconds, offline) => {
      $('bar').value = 0;
      $('sending-text').textContent = offline ? t('addphoto.offline', { s: seconds }) : t('addphoto.busy', { s: seconds });
    });
    location.assign(state.page);
  } catch (e) {
    $('fault').textContent = e.message;
    show('chosen');
  }
});
