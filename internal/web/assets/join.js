// Takes the pairing code from behind the # of the address (which is never sent)
// into the form, and clears the address.
"use strict";
const field = document.getElementById("code");
const code = decodeURIComponent(location.hash.slice(1));
if (field && /^[0-9A-Za-z]{8}$/.test(code)) {
  field.value = code;
  history.replaceState(null, "", location.pathname + location.search);
  const name = document.querySelector('input[name="name"]');
  if (name && !name.value) name.focus();
}
