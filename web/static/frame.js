import './again.js';
