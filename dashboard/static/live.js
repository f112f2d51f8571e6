// Keeps the page's one live part fresh: by the server's stream where there is one, else by asking again with the ETag.
// Shows ages of times, and says so when the connection is gone.

const part = document.getElementById("live");
const offline = document.getElementById("offline");
const aloud = document.getElementById("aloud");
const AGES = new Intl.RelativeTimeFormat(document.documentElement.lang, { numeric: "always", style: "long" });
const UNITS = [["day", 86400], ["hour", 3600], ["minute", 60]];
const REST_MS = 2000; // between two renewals, however many changes come

let serverNow = Number(part.dataset.now); // the server's clock, which may be an invented one
let heardAt = Date.now();
let etag = null;
let fresh = Date.now();
let asking = false;
let again = false;
let streaming = false;

function showAges() {
  for (const time of part.querySelectorAll("time[data-age]")) {
    const old = Math.max(0, (serverNow + Date.now() - heardAt - Date.parse(time.dateTime)) / 1000);
    const [unit, seconds] = UNITS.find(([, size]) => old >= 2 * size) ?? UNITS[2];
    let note = time.nextElementSibling;
    if (!note?.classList.contains("age")) {
      note = document.createElement("span");
      note.className = "age";
      time.after(note);
    }
    note.textContent = AGES.format(-Math.floor(old / seconds), unit);
  }
}

function say() {
  const words = part.querySelector("[data-aloud]")?.dataset.aloud;
  if (aloud && words && aloud.textContent !== words) aloud.textContent = words;
}

function connected(yes) {
  if (yes) fresh = Date.now();
  offline.hidden = yes;
  if (!yes) {
    const time = new Date(fresh).toLocaleTimeString(document.documentElement.lang, { timeStyle: "short" });
    offline.textContent = part.dataset.offline.replace("{time}", time);
  }
}

function show(html) {
  const held = document.activeElement?.closest("#live") ? document.activeElement.getAttribute("href") : null;
  part.innerHTML = html;
  if (held) part.querySelector(`a[href="${CSS.escape(held)}"]`)?.focus({ preventScroll: true });
  showAges();
  say();
}

async function renew() {
  if (asking) {
    again = true;
    return;
  }
  asking = true;
  try {
    const headers = etag ? { "If-None-Match": etag } : {};
    const answer = await fetch(part.dataset.fragment, { headers, cache: "no-store", redirect: "error" });
    if (answer.status === 401) return location.reload();
    serverNow = Number(answer.headers.get("wellhand-now")) || serverNow + Date.now() - heardAt;
    heardAt = Date.now();
    if (answer.status === 200) {
      etag = answer.headers.get("ETag");
      show(await answer.text());
    }
    connected(answer.ok || answer.status === 304);
  } catch {
    connected(false);
  } finally {
    asking = false;
    if (again) {
      again = false;
      setTimeout(renew, REST_MS);
    }
  }
}

function listen() {
  if (!part.dataset.stream || !window.EventSource) return;
  const stream = new EventSource(part.dataset.stream);
  stream.addEventListener("open", () => { streaming = true; renew(); });
  stream.addEventListener("change", renew);
  stream.addEventListener("error", () => {
    streaming = false;
    if (stream.readyState === EventSource.CLOSED) setTimeout(listen, 30000);
  });
}

const every = Number(part.dataset.every) * 1000;
setInterval(() => { if (!document.hidden && (!streaming || Date.now() - fresh > 4 * every)) renew(); }, every);
setInterval(showAges, 20000);
document.addEventListener("visibilitychange", () => { if (!document.hidden) renew(); });
window.addEventListener("online", renew);

const words = document.getElementById("words");
let typing;
words?.addEventListener("input", () => {
  clearTimeout(typing);
  typing = setTimeout(() => {
    const address = new URL(location.href);
    address.search = words.value ? new URLSearchParams({ words: words.value }).toString() : "";
    history.replaceState(null, "", address);
    part.dataset.fragment = "/fleet/rows" + address.search;
    etag = null;
    renew();
  }, 250);
});

showAges();
listen();
