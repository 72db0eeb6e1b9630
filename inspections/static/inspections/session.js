// Who is signed in on this tablet just now, with a fresh token for writing.

import { place } from "./place.js";

const PATIENCE_MS = 8000;

export class Away extends Error {}

export async function reach(address, options = {}) {
  try {
    return await fetch(address, { signal: AbortSignal.timeout(PATIENCE_MS), ...options });
  } catch (trouble) {
    throw new Away(String(trouble));
  }
}

// The session's person and token, or null when nobody is signed in. Throws Away without a network.
export async function whoIsHere() {
  const answer = await reach("/api/v1/me", { headers: { Accept: "application/json" } });
  if (answer.status >= 500) throw new Away(`answered ${answer.status}`);
  if (!answer.ok) return null;
  const session = await answer.json();
  if (session.key === place().person) renewTokens(session.csrf_token);
  return session;
}

// A page that was kept has the token of the day on which it was kept.
function renewTokens(token) {
  for (const field of document.querySelectorAll("input[name=csrfmiddlewaretoken]")) field.value = token;
  if (document.body.hasAttribute("hx-headers")) {
    document.body.setAttribute("hx-headers", JSON.stringify({ "X-CSRFToken": token }));
  }
}
