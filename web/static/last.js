// The vine's last winter, a swipe to the left over the sheet away, or a button;
// a swipe to the right, the button or Escape goes back.
const dialog = document.getElementById('last');
// How far a finger goes for a swipe, and how little aside, CSS pixels.
const SWIPE = { far: 70, aside: 45 };

// swipes calls f with -1 for a swipe to the left and 1 for one to the right.
function swipes(element, f) {
  let from = null;
  element.addEventListener('touchstart', (e) => { from = e.touches.length === 1 ? e.touches[0] : null; }, { passive: true });
  element.addEventListener('touchend', (e) => {
    if (!from) return;
    const to = e.changedTouches[0];
    const dx = to.clientX - from.clientX;
    if (Math.abs(dx) >= SWIPE.far && Math.abs(to.clientY - from.clientY) <= SWIPE.aside) f(Math.sign(dx));
    from = null;
  });
}

if (dialog) {
  document.getElementById('last-open').addEventListener('click', () => dialog.showModal());
  document.getElementById('last-close').addEventListener('click', () => dialog.close());
  swipes(document.querySelector('.sheet'), (way) => { if (way < 0 && !dialog.open) dialog.showModal(); });
  swipes(dialog, (way) => { if (way > 0) dialog.close(); });
}
