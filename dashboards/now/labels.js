// Where the numbers of the stray tones stand, so that none covers a mark or another number.
//
// Decided by the places along the axis alone: levels dance ten times a second, and the numbers must not dance along.

export const HALF = 8; // of a diamond
const REACH = 14; // from the middle of a diamond to its number
const APART = 4;

const apart = (box, other) => box.left >= other.right + APART || box.right + APART <= other.left;

// marks: [{x, width}] with the width of each number, the most important first. Returns for each {left, right, row},
// row being "beside" the diamond or on "top" of the picture; null where there is no room.
export function place(marks, wide) {
  const taken = { beside: [], top: [] };
  const diamonds = marks.map(({ x }) => ({ left: x - HALF, right: x + HALF }));
  return marks.map(({ x, width }, own) => {
    const others = diamonds.filter((_, at) => at !== own);
    const middle = Math.min(Math.max(x - width / 2, 0), wide - width);
    const found = [["beside", x + REACH], ["beside", x - REACH - width], ["top", middle]]
      .map(([row, left]) => ({ row, left, right: left + width }))
      .find((box) => {
        const obstacles = [...taken[box.row], ...(box.row === "beside" ? others : [])];
        return box.left >= 0 && box.right <= wide && obstacles.every((other) => apart(box, other));
      });
    if (found) taken[found.row].push(found);
    return found ?? null;
  });
}
