// One stream of events for all tabs of a browser: it keeps no more than six connections to a board.

import { Stream } from "./stream.js";

const seen = new Set(); // tabs that somebody looks at
const stream = new Stream((what) => { for (const port of seen) port.postMessage(what); });

addEventListener("connect", ({ ports: [port] }) => {
  port.onmessage = ({ data: isSeen }) => {
    if (isSeen) seen.add(port);
    else seen.delete(port);
    if (seen.size > 0) stream.open();
    else stream.close();
    if (isSeen) port.postMessage("changed");
  };
});
