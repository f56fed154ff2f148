// Number-pad keys for the buttons of a page: a button says its keys in data-keys, one or two digits.
let first = "";

const buttons = () => [...document.querySelectorAll("[data-keys]")].filter((one) => !one.disabled);
const typing = (element) => element.matches("input:not([type=radio]):not([type=checkbox]), textarea, select");

function wait(key) {
  first = key;
  for (const one of buttons()) {
    one.classList.toggle("waits", key !== "" && one.dataset.keys.length > 1 && one.dataset.keys.startsWith(key));
  }
}

function press(element, event) {
  event.preventDefault();
  wait("");
  element.click();
}

document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.altKey || event.metaKey || event.isComposing) return;
  const inField = typing(event.target);
  if (event.key === "Backspace" && first) {
    event.preventDefault();
    wait("");
  } else if (event.key === "Backspace" && (!inField || event.target.value === "") && !event.repeat) {
    const back = document.querySelector("[data-back]:not(:disabled)");
    if (back) press(back, event);
  } else if (!inField && /^[0-9]$/.test(event.key) && !event.repeat) {
    const keys = first + event.key;
    const found = buttons().find((one) => one.dataset.keys === keys);
    const longer = buttons().some((one) => one.dataset.keys.length > keys.length && one.dataset.keys.startsWith(keys));
    if (found && !longer) press(found, event);
    else if (longer) {
      event.preventDefault();
      wait(keys);
    } else wait("");
  }
});

const field = document.querySelector("#question input[autofocus]");
if (field) field.select();
const wrong = document.querySelector("#wrong");
if (wrong && !field) wrong.focus();
