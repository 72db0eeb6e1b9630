// Everybody at a unit sees what the others did: the page asks by the examination's counter whether there is news,
// and fetches itself anew when there is. What a person may not see yet stays unseen: it is that person's own page.

import { network, say } from "./network.js";
import { place } from "./place.js";
import { showPresent } from "./present.js";
import { Away, reach, whoIsHere } from "./session.js";
import { swapIn } from "./swap.js";

const ASK_MS = 1500;
let hereMark = "";
let owed = null; // a newer page of which a part had to wait

async function ask() {
  const { api, counter, position } = place();
  if (!api) return;
  const query = new URLSearchParams({ after: counter, position, here: hereMark });
  const answer = await reach(`${api}/since?${query}`, { headers: { Accept: "application/json" } });
  if (answer.status === 401 || answer.status === 403) say("signed out");
  else if (answer.status >= 500) throw new Away(`answered ${answer.status}`);
  else if (network() !== "signed out" || (await whoIsHere())?.key === place().person) say("here");
  if (answer.status !== 200) return;
  const news = await answer.json();
  hereMark = news.here_mark;
  showPresent(news.here);
  if (news.changed) await renew();
}

async function renew() {
  const address = location.pathname + location.search;
  const answer = await reach(address, { redirect: "manual" });
  if (!answer.ok) return;
  const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
  const mark = fresh.getElementById("live");
  const here = place();
  // Somebody else signed in meanwhile: what that person may see is not for this page.
  if (!mark || mark.dataset.person !== here.person || mark.dataset.position !== here.position) return;
  if (location.pathname + location.search !== address) return;
  for (const name of ["counter", "open", "positions"]) here[name] = mark.dataset[name];
  settle(fresh);
  announce();
}

function settle(fresh) {
  owed = swapIn(fresh) ? null : fresh;
  showPresent();
  document.dispatchEvent(new Event("bench:renewed"));
}

function announce() {
  const line = document.querySelector("[data-news]");
  if (!line) return;
  line.textContent = "";
  requestAnimationFrame(() => (line.textContent = line.dataset.news));
}

async function turn() {
  try {
    if (!document.hidden) await ask();
    if (owed) settle(owed);
  } catch (trouble) {
    if (!(trouble instanceof Away)) throw trouble;
    say("away");
  } finally {
    setTimeout(turn, ASK_MS);
  }
}

export function startLive() {
  document.addEventListener("htmx:afterSettle", () => {
    owed = null;
    showPresent();
  });
  void turn();
}
