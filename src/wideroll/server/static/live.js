// Keeps a page up to date while what it shows changes; without it each page has a link to load it again.

const AGAIN_MS = 5000;
const LOST_MS = 8000;
const MARKED = "x-live";
const KINDS = ["card", "cards", "decision", "results", "evidence", "record", "changed", "reload"];

let at = document.body.dataset.live;
let source = null;
let due = null;
let lost = null;
let ended = false;
const topics = new Set();

function listen() {
  if (source || ended || document.hidden) return;
  source = new EventSource(`/live?after=${encodeURIComponent(at)}`);
  source.addEventListener("open", found);
  source.addEventListener("error", missed);
  source.addEventListener("here", note);
  source.addEventListener("ended", end);
  for (const kind of KINDS) source.addEventListener(kind, told);
}

function leave() {
  source?.close();
  source = null;
}

function end() {
  ended = true;
  leave();
  clearTimeout(lost);
  say(false);
  document.getElementById("live-state").hidden = true;
  document.getElementById("live-ended").hidden = false;
}

function note(event) {
  if (event.lastEventId) at = event.lastEventId;
}

function told(event) {
  note(event);
  for (const topic of JSON.parse(event.data).topics ?? ["*"]) topics.add(topic);
  due ??= setTimeout(refresh, 250 + 500 * Math.random());
}

function found() {
  clearTimeout(lost);
  lost = null;
  say(false);
}

function missed() {
  lost ??= setTimeout(() => say(true), LOST_MS);
  if (source?.readyState !== EventSource.CLOSED) return;
  leave();
  setTimeout(listen, AGAIN_MS);
  fetchParts("/cards/news", []);
}

function say(isLost) {
  document.getElementById("live-lost").hidden = !isLost;
  document.getElementById("live-state").hidden = isLost;
}

async function refresh() {
  const changed = new Set(topics);
  topics.clear();
  due = null;
  const concerns = (words) => changed.has("*") || words.split(" ").some((one) => changed.has(one));
  for (const one of document.querySelectorAll("[data-live-say]")) one.hidden &&= !concerns(one.dataset.liveSay);
  const changing = parts(concerns);
  for (const address of new Set(changing.map(from))) await fetchParts(address, changing.filter((part) => from(part) === address));
}

function from(part) {
  return part.dataset.liveFrom ?? location.href;
}

function parts(concerns) {
  return [...document.querySelectorAll("[data-live-topics]")].filter((part) => concerns(part.dataset.liveTopics));
}

async function fetchParts(address, here) {
  const answer = await fetch(address, { headers: { [MARKED]: "1" } }).catch(() => null);
  if (answer && (answer.status === 401 || (answer.redirected && new URL(answer.url).pathname === "/login"))) return end();
  if (!answer?.ok) return here.length && say(true);
  const page = new DOMParser().parseFromString(await answer.text(), "text/html");
  for (const old of here) {
    const fresh = page.getElementById(old.id);
    if (fresh && fresh.innerHTML !== old.innerHTML) replace(old, fresh);
  }
}

function replace(old, fresh) {
  const held = old.contains(document.activeElement) ? document.activeElement : null;
  const open = new Set([...old.querySelectorAll("details[open]")].map((one) => one.id));
  old.replaceChildren(...document.adoptNode(fresh).childNodes);
  for (const one of old.querySelectorAll("details")) if (one.id && open.has(one.id)) one.open = true;
  if (held) [...old.querySelectorAll("a, button, [tabindex]")].find((one) => alike(one, held))?.focus();
}

function alike(one, other) {
  return one.tagName === other.tagName && one.id === other.id && one.getAttribute("href") === other.getAttribute("href");
}

document.addEventListener("visibilitychange", () => (document.hidden ? leave() : listen()));
addEventListener("pagehide", leave);
addEventListener("pageshow", listen);
listen();
