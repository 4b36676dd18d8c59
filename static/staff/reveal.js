// A button beside each password that shows what was typed, until it is pressed again or the form is sent.

for (const field of document.querySelectorAll('input[type=password]')) {
  const button = document.createElement('button');
  button.type = 'button';
  button.className = 'quiet reveal';
  const show = (shown) => {
    field.type = shown ? 'text' : 'password';
    button.textContent = shown ? 'Hide' : 'Show';
    button.setAttribute('aria-pressed', String(shown));
    button.setAttribute('aria-label', `${shown ? 'Hide' : 'Show'} the password`);
  };
  show(false);
  button.addEventListener('click', () => show(field.type === 'password'));
  // A browser offers to keep what is a password.
  field.form?.addEventListener('submit', () => show(false));
  field.after(button);
}
