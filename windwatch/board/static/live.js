// Renews the page when something has changed, counts ages, and says when the connection is lost.
// Without it everything is on the page all the same.
"use strict";

(() => {
  const HEARTBEAT_MS = 15_000; // windwatch.board.live
  const LOST_AFTER_MS = 2 * HEARTBEAT_MS + 2_000;
  const MARKED_MS = 60_000;
  const AGAIN_MS = 10_000;
  const PATIENCE_MS = 20_000;
  const page = document.body.dataset;
  const main = () => document.getElementById("main");

  // --- ages -----------------------------------------------------------------------------

  let madeAt = 0; // by the server's clock
  let shownAt = 0; // by ours, which may be wrong

  function setClock() {
    madeAt = Date.parse(main().dataset.now);
    shownAt = Date.now();
  }

  function span(ms) {
    const minutes = Math.max(0, Math.floor(ms / 60_000));
    if (minutes >= 2_880) return `${Math.floor(minutes / 1_440)} days`;
    const hours = Math.floor(minutes / 60);
    const rest = minutes % 60;
    return hours ? `${hours} h ${String(rest).padStart(2, "0")} min` : `${rest} min`;
  }

  function tick() {
    // A clock that was put back must not make anything young again.
    const now = madeAt + Math.max(0, Date.now() - shownAt);
    for (const each of document.querySelectorAll(".age[data-at]")) {
      const away = Date.parse(each.dataset.at) - now;
      const said = away > 0 ? `${page.in} ${span(away)}` : `${span(-away)} ${page.ago}`;
      if (each.textContent !== said) each.textContent = said;
    }
  }

  // --- renewing -----------------------------------------------------------------------------

  function kept(old, fresh) {
    for (const each of old.querySelectorAll("details[open][id]")) {
      fresh.querySelector(`#${CSS.escape(each.id)}`)?.setAttribute("open", "");
    }
    for (const each of old.querySelectorAll("details.fold:not([open])")) {
      fresh.querySelector(`#${CSS.escape(each.id)}`)?.removeAttribute("open");
    }
    for (const each of old.querySelectorAll("input[id]")) {
      const same = fresh.querySelector(`#${CSS.escape(each.id)}`);
      if (same && each.value !== each.defaultValue) same.value = each.value;
    }
  }

  function pathTo(element) {
    // By id, by address, or by its place among those that can be reached.
    if (element.id) return (root) => root.querySelector(`#${CSS.escape(element.id)}`);
    const key = element.closest("[data-key]")?.dataset.key;
    const name = element.tagName;
    const href = element.getAttribute("href");
    return (root) => {
      const within = (key && root.querySelector(`[data-key="${CSS.escape(key)}"]`)) || root;
      return [...within.querySelectorAll(name)].find((each) => each.getAttribute("href") === href);
    };
  }

  function saidBy(element) {
    const copy = element.cloneNode(true);
    for (const each of copy.querySelectorAll(".age, form")) each.remove();
    return copy.textContent.replace(/\s+/g, " ").trim();
  }

  function marked(old, fresh, before) {
    const said = new Map();
    for (const each of old.querySelectorAll("[data-key]")) said.set(each.dataset.key, saidBy(each));
    for (const each of fresh.querySelectorAll("[data-key]")) {
      const key = each.dataset.key;
      if (said.get(key) !== saidBy(each)) before.set(key, Date.now() + MARKED_MS);
      if ((before.get(key) ?? 0) > Date.now()) each.classList.add("changed");
    }
  }

  const until = new Map(); // how long a change is marked, by key
  function unmark() {
    for (const each of document.querySelectorAll(".changed")) {
      if ((until.get(each.dataset.key) ?? 0) <= Date.now()) each.classList.remove("changed");
    }
  }

  function swap(html) {
    const fresh = new DOMParser().parseFromString(html, "text/html").getElementById("main");
    const old = main();
    if (!fresh || !fresh.dataset.version) return false;
    const focused = old.contains(document.activeElement) ? document.activeElement : null;
    const find = focused && focused !== old ? pathTo(focused) : null;
    const selection = focused?.selectionStart == null ? null : [focused.selectionStart, focused.selectionEnd];
    const top = window.scrollY;
    kept(old, fresh);
    marked(old, fresh, until);
    const adopted = document.adoptNode(fresh);
    old.replaceWith(adopted);
    window.scrollTo({ top, behavior: "instant" });
    const again = find?.(adopted) ?? (focused ? adopted : null);
    again?.focus({ preventScroll: true });
    if (again && selection && again.setSelectionRange) again.setSelectionRange(...selection);
    setClock();
    ready();
    fit();
    return true;
  }

  // Folded for a phone; where there is room everything stands open.
  const ROOMY = "(min-width: 62rem)";
  function unfold(root) {
    if (!window.matchMedia(ROOMY).matches) return;
    for (const each of root.querySelectorAll("details.fold")) each.open = true;
  }

  // What a link within the page leads to may be folded away.
  function reveal() {
    const target = document.getElementById(window.location.hash.slice(1));
    let shut = target?.closest("details:not([open])");
    if (!shut) return;
    for (; shut; shut = target.closest("details:not([open])")) shut.open = true;
    target.scrollIntoView({ behavior: "instant" });
  }

  let wanted = "";
  let asking = false;

  async function renew() {
    if (asking) return;
    asking = true;
    try {
      while (wanted && wanted !== main().dataset.version) {
        const asked = wanted;
        const answer = await fetch(window.location.href, {
          cache: "no-store", credentials: "same-origin", signal: AbortSignal.timeout(PATIENCE_MS),
        });
        if (!answer.ok || answer.redirected) throw new Error(`${answer.status}`);
        if (!swap(await answer.text())) throw new Error("no page");
        announce();
        if (asked === wanted) break;
      }
      heard();
    } catch {
      trouble();
      window.setTimeout(renew, AGAIN_MS);
    } finally {
      asking = false;
    }
  }

  function announce() {
    const worst = [".banner.grave .banner-head", '[data-key="headline"] p', "h1"];
    const first = worst.map((each) => main().querySelector(each)).find(Boolean);
    const said = `${page.changed}: ${first ? saidBy(first) : ""}`;
    if (teller.textContent !== said) teller.textContent = said;
  }

  // --- the connection ---------------------------------------------------------------------------

  let source = null;
  let heardAt = Date.now();
  let connected = false;

  function heard() {
    heardAt = Date.now();
    connected = true;
    if (document.getElementById("lost")) {
      document.getElementById("lost").remove();
      fit();
    }
    ready();
  }

  function trouble() {
    connected = false;
    ready();
  }

  // The wall never scrolls: its text is as large as there is room for.
  function fit() {
    if (!document.body.classList.contains("kiosk")) return;
    const root = document.documentElement;
    for (let share = 1.3; share > 0.4; share -= 0.03) {
      root.style.setProperty("--fit", share.toFixed(2));
      if (root.scrollHeight <= window.innerHeight) return;
    }
  }

  function ready() {
    const shown = document.querySelector("[data-live]");
    if (shown) {
      shown.hidden = false;
      shown.dataset.state = connected ? "live" : "connecting";
      shown.firstElementChild.textContent = connected ? page.wordLive : page.wordConnecting;
    }
    for (const each of document.querySelectorAll("[data-print]")) {
      each.hidden = false;
      each.onclick = () => window.print();
    }
  }

  function watch() {
    if (Date.now() - heardAt <= LOST_AFTER_MS || document.getElementById("lost")) return;
    const banner = document.createElement("div");
    banner.id = "lost";
    banner.className = "banner grave";
    banner.setAttribute("role", "alert");
    const head = document.createElement("p");
    head.className = "banner-head";
    const age = document.createElement("span");
    age.className = "age";
    age.dataset.at = new Date(madeAt + heardAt - shownAt).toISOString();
    head.append(`${page.lost}: `, age);
    const text = document.createElement("p");
    const link = document.createElement("a");
    link.href = window.location.href;
    link.textContent = page.reload;
    text.append(`${page.lostText} `, link);
    banner.append(head, text);
    main().prepend(banner);
    fit();
    connected = false;
    ready();
    tick();
  }

  function listen() {
    source?.close();
    source = new EventSource(page.liveAt);
    source.addEventListener("changed", (event) => {
      heard();
      wanted = event.data;
      renew();
    });
    source.addEventListener("alive", heard);
    source.addEventListener("error", () => {
      trouble();
      // After anything but a broken connection the browser itself does not try again.
      if (source.readyState === EventSource.CLOSED) window.setTimeout(listen, AGAIN_MS);
    });
  }

  unfold(document);
  ready();
  fit();
  reveal();
  window.addEventListener("resize", fit);
  window.addEventListener("hashchange", reveal);
  if (!page.liveAt) return;
  const teller = document.createElement("p");
  teller.id = "teller";
  teller.className = "unseen";
  teller.setAttribute("role", "status");
  document.body.append(teller);
  setClock();
  if (main().querySelector("[data-done]")) {
    const clean = new URL(window.location.href);
    clean.searchParams.delete("done");
    window.history.replaceState(null, "", clean);
  }
  listen();
  window.setInterval(() => { tick(); unmark(); watch(); }, 1_000);
  document.addEventListener("visibilitychange", () => { if (!document.hidden) { tick(); watch(); } });
  window.addEventListener("pagehide", () => source?.close());
  window.addEventListener("pageshow", (event) => { if (event.persisted) listen(); });
})();
