// Runs on their way to the live process: each is sent until it is kept, however long that takes.
import {asked} from "./texts.js";

const AGAIN_MS = 2000;

/**
 * A queue for one sitting; `tell` hears how many runs are not yet kept, and what was refused.
 * Each run bears whether anything of it was simulated: by the time that it is kept, another act may
 * go on, or none.
 */
export function keeper(rig, sitting, tell) {
  const waiting = [];
  let busy = false, kept = null, number = 0;

  async function send() {
    if (busy) return;
    busy = true;
    while (waiting.length) {
      try {
        const [{run, simulated}] = waiting;
        kept = await asked(`/trials?${new URLSearchParams({rig, simulated: Number(simulated)})}`, {
          method: "POST", headers: {"Content-Type": "application/json"},
          body: JSON.stringify({...sitting, runs: [run]}),
        });
        waiting.shift();
        tell(waiting.length, "");
      } catch (error) {
        const refused = !(error instanceof TypeError); // a TypeError is the network's
        tell(waiting.length, refused ? error.message : null);
        await new Promise(done => setTimeout(done, AGAIN_MS));
      }
    }
    busy = false;
  }
  return {
    add(run, simulated) {
      waiting.push({run: {...run, number: number++}, simulated});
      send();
    },
    get kept() { return kept; },
    async all() {
      while (waiting.length || busy) await new Promise(done => setTimeout(done, 50));
      return kept;
    },
  };
}

/** Random lower-case hexadecimal digits. */
export function randomId(bytes = 6) {
  return [...crypto.getRandomValues(new Uint8Array(bytes))]
    .map(each => each.toString(16).padStart(2, "0")).join("");
}

/** A name as figures bear it: small letters, digits and hyphens. */
export function slug(name) {
  const plain = name.normalize("NFKD").toLowerCase().replace(/[^a-z0-9]+/g, "-");
  return plain.replace(/^-+|-+$/g, "").slice(0, 40).replace(/-+$/, "") || "device";
}
