// Talking to the page's own server, and to nobody else.

/** A mistake said in one line; `field` names what it belongs beside. */
export class Mistake extends Error {
  constructor(message, field = "", status = 0) {
    super(message);
    this.field = field;
    this.status = status;
  }
}

async function read(response) {
  const kind = response.headers.get("content-type") || "";
  if (!kind.startsWith("application/json")) {
    throw new Mistake((await response.text()).trim() || `the server said ${response.status}`, "",
      response.status);
  }
  const found = await response.json();
  if (!response.ok) throw new Mistake(found.error || "refused", found.field, response.status);
  return found;
}

async function reach(path, options) {
  try {
    return await fetch(path, { credentials: "same-origin", ...options });
  } catch (error) {
    if (error.name === "AbortError") throw error;
    throw new Mistake("lanesim does not answer; is 'lanesim page' still running?");
  }
}

export const get = async (path) => read(await reach(path, {}));

export const post = async (path, body, signal) => read(await reach(path, {
  method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(body), signal,
}));

/** Follow the server's news: listeners by kind; `lost` is told when they stop and come again. */
export function follow(listeners, lost) {
  const source = new EventSource("/api/news");
  for (const [kind, listen] of Object.entries(listeners)) {
    source.addEventListener(kind, (event) => listen(JSON.parse(event.data)));
  }
  source.onopen = () => lost(false);
  source.onerror = () => lost(true);
  return source;
}

/** Sends the newest of many requests: one on its way, the latest waiting, those between dropped. */
export function newest(send, got, failed) {
  let busy = false;
  let waiting = null;
  async function go(asked, note) {
    busy = true;
    try {
      got(await send(asked), asked, note);
    } catch (error) {
      failed(error, asked);
    }
    busy = false;
    if (waiting) {
      const [next, about] = waiting;
      waiting = null;
      go(next, about);
    }
  }
  return (asked, note) => { if (busy) waiting = [asked, note]; else go(asked, note); };
}
