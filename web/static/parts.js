// Says that a mesh file is too large before it is sent. Without this script the server refuses it.
"use strict";

for (const input of document.querySelectorAll("input[type=file]")) {
  input.addEventListener("change", () => {
    const { most, tooLarge } = input.dataset;
    const large = [...input.files].some((file) => file.size > Number(most));
    input.setCustomValidity(large ? tooLarge : "");
    input.reportValidity();
  });
}
