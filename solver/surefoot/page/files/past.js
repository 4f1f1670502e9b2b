// The wishes and their past: undo and redo, one step a gesture.

export const NONE = { mix: [], keys: [], rejected: [], taken: [], let: [], speed: null, slope: 0, clearance: 0, channel: "" };

export class Past {
  constructor(wishes, onChange) {
    this.now = { ...NONE, ...wishes };
    this.before = [];
    this.after = [];
    this.gesture = null;
    this.onChange = onChange;
  }

  // Changes with one gesture's name in a row are one step back.
  put(changed, gesture = null) {
    if (gesture === null || gesture !== this.gesture) this.before.push(this.now);
    this.gesture = gesture;
    this.after = [];
    this.now = { ...this.now, ...changed };
    this.onChange();
  }

  rest() { this.gesture = null; }

  undo() {
    if (!this.before.length) return;
    this.after.push(this.now);
    this.now = { ...this.before.pop(), channel: this.now.channel };
    this.gesture = null;
    this.onChange();
  }

  redo() {
    if (!this.after.length) return;
    this.before.push(this.now);
    this.now = { ...this.after.pop(), channel: this.now.channel };
    this.gesture = null;
    this.onChange();
  }
}
