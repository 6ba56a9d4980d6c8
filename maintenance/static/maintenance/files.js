// Files that are too large are said to be so before they are sent.
"use strict";
document.addEventListener("change", (event) => {
  const field = event.target;
  if (!(field instanceof HTMLInputElement) || !field.dataset.mostBytes) return;
  const bytes = Array.from(field.files).reduce((sum, file) => sum + file.size, 0);
  field.setCustomValidity(bytes > Number(field.dataset.mostBytes) ? field.dataset.tooLarge : "");
  field.reportValidity();
});
