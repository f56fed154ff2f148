// Number-pad keys for the buttons of a page: a button says its keys in data-keys, one or two digits.
// Answers are sent from here and the next question put in place, so that keys typed meanwhile aren't lost:
// they are kept and played to the page that comes, unless that has something to object to.
const main = document.querySelector("#main");
let first = "";
let away = false;
let ahead = [];

const field = () => main.querySelector("#question input[autofocus]");
const buttons = () => [...main.querySelectorAll("[data-keys]")].filter((one) => !one.disabled);
const typing = (element) => element.matches("input:not([type=radio]):not([type=checkbox]), textarea, select");

function wait(key) {
  first = key;
  for (const one of buttons()) {
    one.classList.toggle("waits", key !== "" && one.dataset.keys.length > 1 && one.dataset.keys.startsWith(key));
  }
}

function press(element) {
  wait("");
  element.click();
}

function digit(key) {
  const keys = first + key;
  const found = buttons().find((one) => one.dataset.keys === keys);
  const longer = buttons().some((one) => one.dataset.keys.length > keys.length && one.dataset.keys.startsWith(keys));
  if (longer) wait(keys);
  else if (found) press(found);
  else wait("");
}

function back() {
  const button = main.querySelector("[data-back]:not(:disabled)");
  if (first) wait("");
  else if (button) press(button);
}

function typed(event) {
  if (event.ctrlKey || event.altKey || event.metaKey || event.isComposing) return;
  const inField = typing(event.target);
  if (away) {
    if (event.key.length === 1 || event.key === "Enter") ahead.push(event.key);
    if (event.key !== "Tab") event.preventDefault();
  } else if (event.repeat) {
    if (!inField && event.key === "Enter") event.preventDefault();
  } else if (event.key === "Backspace" && (!inField || event.target.value === "")) {
    event.preventDefault();
    back();
  } else if (!inField && /^[0-9]$/.test(event.key)) {
    event.preventDefault();
    digit(event.key);
  }
}

function play() {
  if (field() && ahead.length && ahead[0] !== "Enter") field().value = "";
  while (ahead.length && !away) {
    const key = ahead.shift();
    if (field() && key === "Enter") field().form.requestSubmit();
    else if (field()) field().value += key;
    else if (key === "Enter" && document.activeElement.matches("main button, main a")) press(document.activeElement);
    else if (/^[0-9]$/.test(key)) digit(key);
  }
}

function settle() {
  const wrong = main.querySelector("#wrong");
  if (wrong) ahead = [];
  (field() ?? wrong ?? main.querySelector("[autofocus]") ?? main.querySelector("h1"))?.focus();
  field()?.select();
  play();
}

async function send(form, button) {
  const body = new URLSearchParams(new FormData(form, button));
  const answer = await fetch(form.action, { method: "POST", body });
  const page = new DOMParser().parseFromString(await answer.text(), "text/html");
  if (answer.redirected && !page.querySelector(".box")) {
    location.assign(answer.url);
    return;
  }
  main.replaceChildren(...page.querySelector("main").childNodes);
  document.title = page.title;
  history.replaceState(null, "", answer.url);
  scrollTo(0, 0);
  away = false;
  settle();
}

function submitted(event) {
  const form = event.target;
  if (form.method !== "post" || form.enctype === "multipart/form-data") return;
  event.preventDefault();
  if (away) return;
  away = true;
  send(form, event.submitter).catch(() => {
    away = false;
    ahead = [];
    const words = document.createElement("p");
    words.className = "wrong";
    words.setAttribute("role", "alert");
    words.textContent = "The desk doesn't answer. What was saved is safe; try this answer again.";
    main.querySelector(".box")?.prepend(words);
  });
}

document.addEventListener("keydown", typed);
document.addEventListener("submit", submitted);
window.addEventListener("pageshow", () => { away = false; });
settle();
