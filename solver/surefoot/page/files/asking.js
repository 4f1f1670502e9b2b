// Asks the server for work. One request is under way at a time; while it is, only the latest wishes wait, so the
// latest value wins and none is lost at the end. When nothing new has come for a moment, the whole answer is asked for.

const REST = 140; // milliseconds without a new wish before the whole answer

export function unpacked(buffer) {
  const size = new DataView(buffer).getUint32(0, true);
  const head = JSON.parse(new TextDecoder().decode(new Uint8Array(buffer, 4, size)));
  const arrays = {};
  for (const one of head.arrays) {
    const count = one.shape.reduce((a, b) => a * b, 1);
    arrays[one.name] = { shape: one.shape, data: new Float32Array(buffer, 4 + size + 4 * one.at, count) };
  }
  return { head, arrays };
}

// A line that stays open: quicker than a request each time. It is opened anew if it was lost.
class Line {
  async asked(text) {
    if (this.socket?.readyState !== WebSocket.OPEN) this.socket = await opened();
    const reply = await new Promise((done, failed) => {
      this.socket.onmessage = (event) => done(event.data);
      this.socket.onclose = () => failed(new TypeError("the line was lost"));
      this.socket.send(text);
    });
    if (typeof reply === "string") throw new Error(reply);
    return reply;
  }
}

function opened() {
  return new Promise((done, failed) => {
    const socket = new WebSocket(new URL("line", location.href.replace(/^http/, "ws")));
    socket.binaryType = "arraybuffer";
    socket.onopen = () => done(socket);
    socket.onclose = () => failed(new TypeError("there is no line"));
  });
}

export class Asking {
  constructor(onAnswer, onTrouble) {
    this.onAnswer = onAnswer;
    this.onTrouble = onTrouble;
    this.line = new Line();
    this.waiting = null;
    this.busy = false;
    this.serial = 0;
    this.timer = 0;
  }

  ask(wishes, since = performance.now()) {
    this.waiting = { wishes, since, answer: "quick" };
    if (!document.documentElement.dataset.asked) document.documentElement.dataset.asked = "yes";
    clearTimeout(this.timer);
    this.pump();
  }

  askWhole(wishes) {
    this.waiting = { wishes, since: performance.now(), answer: "whole" };
    clearTimeout(this.timer);
    this.pump();
  }

  async pump() {
    if (this.busy || this.waiting === null) return;
    const { wishes, since, answer } = this.waiting;
    this.waiting = null;
    this.busy = true;
    const serial = ++this.serial;
    try {
      const { head, arrays } = unpacked(await this.line.asked(JSON.stringify({ wishes, serial, answer })));
      this.onAnswer(head, arrays, wishes);
      performance.measure(`${answer} to drawn`, { start: since, end: performance.now() });
      if (answer === "quick" && this.waiting === null) {
        this.timer = setTimeout(() => this.askWhole(wishes), REST);
      }
      if (answer === "whole" && this.waiting === null) delete document.documentElement.dataset.asked;
    } catch (error) {
      this.onTrouble(error instanceof TypeError ? "The server doesn't answer: is surefoot page still running?" : error.message);
    }
    this.busy = false;
    this.pump();
  }
}

export async function posted(where, wishes) {
  const reply = await fetch(where, { method: "POST", body: JSON.stringify({ wishes }) });
  if (!reply.ok) throw Object.assign(new Error(await reply.text()), { status: reply.status });
  return reply.json();
}
